"""What the store holds, scored and put in page order: weeks, athletes, attempts, readings. Knows no HTML."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import pandas as pd

from pipeline.reports.files import slug
from pipeline.reports.language import week_key
from pipeline.scoring.tolerances import Tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import Store
from pipeline.vocabulary import DETAILS, Skill

ORDER = {(str(d.skill), d.id): i for i, d in enumerate(DETAILS)}
SKILL_ORDER = {str(s): i for i, s in enumerate(Skill)}
COLUMN = tuple[str, str, str]  # skill, detail, side


class ReadingRow(NamedTuple):
    """One scored reading."""

    athlete: str
    cohort: str
    date: str
    clip: str
    skill: str
    setting: str
    attempt: int
    detail: str
    side: str
    value: float
    low: float
    high: float
    unit: str
    usable_share: float
    verdict: str
    reason: str
    link: str
    at_s: float

    @property
    def column(self) -> COLUMN:
        """Which column of a table it belongs to."""
        return self.skill, self.detail, self.side

    @property
    def anchor(self) -> str:
        """Its place on the athlete's page; the same from run to run."""
        return "-".join(part for part in (slug(self.link), self.detail, self.side) if part)


@dataclass
class AttemptRecord:
    """One attempt with its readings in the order of the vocabulary."""

    row: pd.Series | NamedTuple
    readings: list[ReadingRow] = field(default_factory=list)


@dataclass
class Records:
    """Everything the pages show."""

    scored: pd.DataFrame
    clips: pd.DataFrame
    attempts: list[AttemptRecord]
    readings: list[ReadingRow]

    @property
    def athletes(self) -> list[str]:
        """Codes with at least one attempt, in order."""
        return sorted({a.row.athlete for a in self.attempts if a.row.athlete})


def read_records(store: Store, tolerances: Tolerances) -> Records:
    """Read the store once, score it, and sort it for the pages."""
    scored = score(store.readings(), tolerances)
    rows = [ReadingRow(*values) for values in scored[list(ReadingRow._fields)].itertuples(index=False, name=None)]
    attempts = {a.link: AttemptRecord(a) for a in store.attempts().itertuples(index=False)}
    for row in rows:
        attempts[row.link].readings.append(row)
    for attempt in attempts.values():
        attempt.readings.sort(key=lambda r: (ORDER.get((r.skill, r.detail), len(ORDER)), r.detail, r.side))
    return Records(scored, store.clips(), list(attempts.values()), rows)


def columns_of(rows: Sequence[ReadingRow]) -> list[COLUMN]:
    """The columns a table of these readings needs, in the order of the vocabulary."""
    return sorted({r.column for r in rows}, key=lambda c: (SKILL_ORDER.get(c[0], 99), ORDER.get(c[:2], len(ORDER)), c[1], c[2]))


def weeks_of(records: Records) -> dict[str, str]:
    """Week keys, latest first, each with one date in it; undated last."""
    dates: dict[str, str] = {}
    for date in (*(a.row.date for a in records.attempts), *records.clips["date"]):
        dates.setdefault(week_key(date), date)
    return {key: dates[key] for key in sorted(dates, key=lambda k: (k != "undated", k), reverse=True)}
