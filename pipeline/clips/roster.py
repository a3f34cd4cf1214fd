"""The roster: who may be filmed, until when, in which cohort, leading with which leg. No valid row, no look at the clip."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, StringConstraints, ValidationError

from pipeline.clips.tables import read_table
from pipeline.errors import plain, shown
from pipeline.vocabulary import Side

ROSTER_COLUMNS = ("athlete", "cohort", "lead_side", "consent_until")
CODE = r"[A-Za-z0-9]+(?:-[A-Za-z0-9]+)*"  # also the name of the athlete's page
CODE_LENGTH = 32
RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)$")  # names Windows does not allow for files
EXPECTED = {
    "athlete": "a code of letters, digits and hyphens such as OT-01 (never a name)",
    "cohort": "the name of a training group such as Otters, at most 60 characters",
    "lead_side": "left, right or nothing",
    "consent_until": "a date such as 2026-12-31",
}


def read_date(text: str) -> date:
    """A date a coach or a spreadsheet wrote: 2026-03-02, 2026/3/2 or 2.3.2026. Month and day are never guessed from 3/2/2026.

    >>> read_date("2.3.2026")
    datetime.date(2026, 3, 2)
    """
    text = str(text).strip()
    if m := re.fullmatch(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", text):
        return date(int(m[1]), int(m[2]), int(m[3]))
    if m := re.fullmatch(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", text):
        return date(int(m[3]), int(m[2]), int(m[1]))
    raise ValueError(EXPECTED["consent_until"])


def _code(text: str) -> str:
    if RESERVED.match(text):
        raise ValueError("a name the file system reserves")
    return text


def _side(text: str) -> Side:
    words = {"": Side.NONE, "l": Side.LEFT, "left": Side.LEFT, "r": Side.RIGHT, "right": Side.RIGHT}
    return words[text.strip().lower()]


def _known_side(text: str) -> Side:
    try:
        return _side(text)
    except KeyError as error:
        raise ValueError("no such side") from error


def _without_tricks(text: str) -> str:
    if plain(text) != text or "\n" in text:
        raise ValueError("control, direction or invisible characters")
    return text


class Athlete(BaseModel):
    """One row of the roster."""

    model_config = ConfigDict(frozen=True, extra="ignore")
    athlete: Annotated[str, StringConstraints(pattern=f"^{CODE}$", max_length=CODE_LENGTH), BeforeValidator(_code)]
    cohort: Annotated[str, StringConstraints(max_length=60), AfterValidator(_without_tricks)] = ""
    lead_side: Annotated[Side, BeforeValidator(_known_side)] = Side.NONE
    consent_until: Annotated[date, BeforeValidator(read_date)]


@dataclass(frozen=True)
class Roster:
    """The athletes with a valid row, and what is wrong with the other rows."""

    path: Path | None
    athletes: dict[str, Athlete] = field(default_factory=dict)  # by code in capitals
    problems: tuple[str, ...] = ()  # each: file, row, column, what was expected, what came
    _doubtful: dict[str, str] = field(default_factory=dict)  # code in capitals -> its problem

    def find(self, code: str) -> Athlete | None:
        """The athlete with this code, in any mix of capitals."""
        return self.athletes.get(code.upper())

    def spelled(self, code: str) -> str:
        """The code as the roster has it, also from a row that is wrong; empty where it has none."""
        one = self.find(code)
        return one.athlete if one else code.upper() if code.upper() in self._doubtful else ""

    def refusal(self, code: str, today: date) -> str:
        """Why this athlete's clips may not be opened; empty where they may."""
        one = self.find(code)
        if one is None:
            if problem := self._doubtful.get(code.upper()):
                return f"not opened: {problem}"
            return f"not opened: {code if re.fullmatch(CODE, code) else shown(code)} is not on the roster"
        if one.consent_until < today:
            return f"not opened: consent for {one.athlete} ran out on {one.consent_until}"
        return ""


def load_roster(path: Path) -> Roster:
    """Read and check the roster. A row that is wrong is left out and named in `problems`; the others count.

    Raises MatsideError if the file cannot be read or lacks a column.
    """
    table = read_table(path, needs=ROSTER_COLUMNS)
    athletes: dict[str, Athlete] = {}
    rows: dict[str, int] = {}
    problems: list[str] = []
    doubtful: dict[str, str] = {}
    for number, row in table.rows:
        code = row["athlete"]
        key = code.upper()
        try:
            one = Athlete.model_validate({k: v for k, v in row.items() if k in ROSTER_COLUMNS})
        except ValidationError as error:
            found = [_problem(path, number, str(e["loc"][0]), row) for e in error.errors()]
        else:
            found = []
            if key in rows:
                found = [f"{path.name}, row {number}, column athlete: {code} is already in row {rows[key]}; expected one row an athlete"]
        if found:
            problems += found
            doubtful[key] = found[0]
            athletes.pop(key, None)
        elif key not in doubtful:
            athletes[key] = one
        rows.setdefault(key, number)
    return Roster(path, athletes, tuple(problems), doubtful)


def _problem(path: Path, number: int, column: str, row: dict[str, str]) -> str:
    came = repr(row.get(column, "")[:60]) if row.get(column) else "nothing"
    return f"{path.name}, row {number}, column {column}: expected {EXPECTED[column]}, but came {came}"
