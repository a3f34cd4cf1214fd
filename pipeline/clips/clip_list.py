"""clips.csv in the clips folder: what the coach says of each clip. Rows are read and added, never changed."""

from __future__ import annotations

import csv
import io
import os
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path, PurePosixPath

from pipeline.clips.roster import CODE_LENGTH, read_date
from pipeline.clips.tables import Table, read_table
from pipeline.errors import MatsideError, shown
from pipeline.files import safe_cell, write_whole
from pipeline.vocabulary import Setting, Skill

LIST_NAME, BESIDE_NAME = "clips.csv", "clips_to_fill_in.csv"
LIST_COLUMNS = ("clip", "athlete", "date", "skill", "setting")
LEFT_OUT = "skip"  # in the athlete column: not one of ours, do not ask again


@dataclass(frozen=True)
class Told:
    """What one row says of a clip; empty where it says nothing."""

    clip: str
    row: int = 0
    file: str = LIST_NAME
    athlete: str = ""
    date: date | None = None
    skill: Skill | None = None
    setting: Setting | None = None
    problem: str = ""  # file, row, column, expected, came
    claimed: tuple[str, ...] = ()  # the athletes that the clip's rows name, also where something in them is wrong


@dataclass(frozen=True)
class ClipList:
    """All rows, found by a clip's path below the folder or by its file name (the keys of `told`, see same_letters)."""

    path: Path  # clips.csv in the clips folder
    beside: Path  # clips_to_fill_in.csv beside the pages, for a folder that may not be written
    told: dict[str, Told] = field(default_factory=dict)

    def find(self, name: str, *, alone: bool = True) -> Told | None:
        """The row of this clip; by its bare file name only if it is `alone` in being called so."""
        names = (name.strip(), PurePosixPath(name).name.strip() if alone else "")
        return next((self.told[n] for n in map(same_letters, names) if n in self.told), None)

    def unknown(self, names: Sequence[str]) -> list[str]:
        """One line for each row whose clip is not among `names`."""
        known = {same_letters(n.strip()) for name in names for n in (name, PurePosixPath(name).name)}
        return [
            f"{t.file}, row {t.row}, column clip: there is no clip {shown(t.clip)} in the folder"
            for t in self.told.values()
            if same_letters(t.clip) not in known
        ]


def same_letters(name: str) -> str:
    """A name for comparing: a Mac writes an umlaut in file names as two letters, a spreadsheet as one."""
    return unicodedata.normalize("NFC", name)


def load_clip_list(folder: Path, out: Path) -> ClipList:
    """Read clips.csv, and what was asked beside the pages; where both have a row, clips.csv counts. A wrong cell becomes its clip's problem.

    Raises MatsideError if a file cannot be read or has no column `clip`.
    """
    got = ClipList(folder / LIST_NAME, out / BESIDE_NAME)
    for path in (got.beside, got.path):
        if path.exists():
            got.told.update(_rows(_read(path)))
    return got


def _read(path: Path) -> Table:
    return read_table(path, needs=("clip",), also=LIST_COLUMNS[1:])


def _rows(table: Table) -> dict[str, Told]:
    told: dict[str, Told] = {}
    name = table.path.name
    for number, row in table.rows:
        one = _told(name, number, row)
        key = same_letters(one.clip)
        before = told.get(key)
        if before is not None and before != replace(one, row=before.row):
            problem = (
                f"{name}, rows {before.row} and {number}: the clip is there twice and the rows differ; expected one row a clip. "
                "If two athletes are in it, cut it in two"
            )
            one = Told(one.clip, number, name, problem=problem, claimed=tuple(dict.fromkeys((*before.claimed, *one.claimed))))
        told[key] = one
    return told


def _told(file: str, number: int, row: dict[str, str]) -> Told:
    clip = row["clip"].replace("\\", "/").removeprefix("./")
    athlete, day, skill, setting = (row.get(column, "") for column in LIST_COLUMNS[1:])
    claimed = (athlete,) if athlete and athlete.lower() != LEFT_OUT and len(athlete) <= CODE_LENGTH else ()

    def wrong(column: str, expected: str, came: str) -> Told:
        problem = f"{file}, row {number}, column {column}: expected {expected}, but came {came[:60]!r}"
        return Told(clip, number, file, problem=problem, claimed=claimed)

    if len(athlete) > CODE_LENGTH:
        return wrong("athlete", "an athlete's code such as OT-01", athlete)
    try:
        on = read_date(day) if day else None
    except ValueError:
        return wrong("date", "a date such as 2026-03-02", day)
    skill_id = skill.lower().replace(" ", "_").replace("-", "_")
    if skill and skill_id not in list(Skill):
        return wrong("skill", f"{', '.join(s.replace('_', ' ') for s in Skill)} or nothing", skill)
    if setting and setting.lower() not in list(Setting):
        return wrong("setting", f"{' or '.join(Setting)} or nothing", setting)
    return Told(
        clip, number, file, athlete, on, Skill(skill_id) if skill else None, Setting(setting.lower()) if setting else None, claimed=claimed
    )  # fmt: skip


def ask(clips: ClipList, gaps: Sequence[tuple[str, str, str]]) -> Path | None:
    """Add a row for each gap (clip, athlete, date), for the coach to fill in; rows that are there stay as they are.

    The file is read again, as the coach may have filled it in while the clips were worked on.
    Returns the file that asks: clips.csv or, where that may not be written, the one beside the pages; None without gaps.
    """
    if not gaps:
        return None
    for path in (clips.path, clips.beside):
        if os.access(path.parent, os.W_OK):
            try:
                table = _read(path) if path.exists() else None
                since = (_rows(table) if table else {}).keys() - clips.told.keys()
                new = [gap for gap in gaps if not since & {same_letters(gap[0]), same_letters(PurePosixPath(gap[0]).name)}]
                if new:
                    write_whole(path, _with_rows(path, table, new))
            except (OSError, MatsideError):  # it may not be written, or is half saved
                continue
            return path
    raise MatsideError(
        f"{clips.beside.parent}: cannot be written, so nobody could be asked whose clips these are. Give another folder with --out."
    )


def _with_rows(path: Path, table: Table | None, gaps: Sequence[tuple[str, str, str]]) -> bytes:
    """The file's bytes as they are, and the new rows in its own columns, separator and encoding."""
    columns = table.columns if table else LIST_COLUMNS
    rows = "".join(_line([dict(zip(LIST_COLUMNS, gap, strict=False)).get(column, "") for column in columns], table) for gap in gaps)
    if table is None:
        return (_line(LIST_COLUMNS, None) + rows).encode("utf-8", "backslashreplace")
    old, newline = path.read_bytes(), "\n".encode(table.encoding)
    return old + (b"" if old.endswith(newline) else newline) + rows.encode(table.encoding, "backslashreplace")


def _line(cells: Sequence[object], table: Table | None) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=table.separator if table else ",", lineterminator="\n").writerow([safe_cell(cell) for cell in cells])
    return out.getvalue()
