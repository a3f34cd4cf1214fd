"""clips.csv in the clips folder: what the coach says of each clip. Rows are read and added, never changed."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path, PurePosixPath

from pipeline.clips.roster import CODE_LENGTH, read_date
from pipeline.clips.tables import Table, read_table
from pipeline.errors import MatsideError
from pipeline.files import safe_cell, write_whole
from pipeline.vocabulary import Setting, Skill

LIST_COLUMNS = ("clip", "athlete", "date", "skill", "setting")
LEFT_OUT = "skip"  # in the athlete column: not one of ours, do not ask again


@dataclass(frozen=True)
class Told:
    """What one row says of a clip; empty where it says nothing."""

    clip: str
    row: int = 0
    athlete: str = ""
    date: date | None = None
    skill: Skill | None = None
    setting: Setting | None = None
    problem: str = ""  # file, row, column, expected, came


@dataclass(frozen=True)
class ClipList:
    """All rows, found by a clip's path below the folder or by its file name."""

    path: Path
    told: dict[str, Told] = field(default_factory=dict)
    table: Table | None = None

    def find(self, name: str, *, alone: bool = True) -> Told | None:
        """The row of this clip; by its bare file name only if it is `alone` in being called so."""
        names = (name, name.strip(), PurePosixPath(name).name.strip() if alone else "")
        return next((self.told[n] for n in names if n in self.told), None)

    def unknown(self, names: Sequence[str]) -> list[str]:
        """One line for each row whose clip is not among `names`."""
        known = {n.strip() for name in names for n in (name, PurePosixPath(name).name)}
        return [
            f"{self.path.name}, row {t.row}, column clip: there is no clip {t.clip!r} in the folder"
            for t in self.told.values()
            if t.clip not in known
        ]


def load_clip_list(path: Path) -> ClipList:
    """Read clips.csv; without the file, an empty list. A wrong cell becomes its clip's problem, not the night's.

    Raises MatsideError if the file cannot be read or has no column `clip`.
    """
    if not path.exists():
        return ClipList(path)
    table = read_table(path, needs=("clip",))
    told: dict[str, Told] = {}
    for number, row in table.rows:
        one = _told(path, number, row)
        before = told.get(one.clip)
        if before is not None and before != Told(**{**vars(one), "row": before.row}):
            problem = (
                f"{path.name}, rows {before.row} and {number}: the clip is there twice and the rows differ; expected one row a clip. "
                "If two athletes are in it, cut it in two"
            )
            one = Told(one.clip, number, problem=problem)
        told[one.clip] = one
    return ClipList(path, told, table)


def _told(path: Path, number: int, row: dict[str, str]) -> Told:
    clip = row["clip"].replace("\\", "/").removeprefix("./")
    athlete, day, skill, setting = (row.get(column, "") for column in LIST_COLUMNS[1:])

    def wrong(column: str, expected: str, came: str) -> Told:
        return Told(clip, number, problem=f"{path.name}, row {number}, column {column}: expected {expected}, but came {came[:60]!r}")

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
    return Told(clip, number, athlete, on, Skill(skill_id) if skill else None, Setting(setting.lower()) if setting else None)


def ask(clips: ClipList, gaps: Sequence[tuple[str, str, str]], beside: Path) -> Path | None:
    """Add a row for each gap (clip, athlete, date), for the coach to fill in; rows that are there stay as they are.

    Returns the file written: clips.csv itself or, where that folder may not be written, a whole table in the folder
    `beside`; None if nothing was to be added.
    """
    if not gaps:
        return None
    table = clips.table
    columns = table.columns if table else LIST_COLUMNS
    rows = "".join(_line([dict(zip(LIST_COLUMNS, gap, strict=False)).get(column, "") for column in columns], table) for gap in gaps)
    old = clips.path.read_bytes() if table else b""
    encoding = table.encoding if table else "utf-8"
    if old:
        newline = b"\n".decode().encode("utf-16-le" if encoding == "utf-16" else "ascii")
        added = rows.encode("utf-16-le" if encoding == "utf-16" else encoding, "backslashreplace")
        whole = old + (b"" if old.endswith((newline, b"\n")) else newline) + added
    else:
        whole = (_line(LIST_COLUMNS, None) + rows).encode("utf-8", "backslashreplace")
    for target in (clips.path, beside / clips.path.name):
        if target is clips.path and not os.access(target.parent, os.W_OK):
            continue
        try:
            write_whole(target, whole)
        except OSError:
            continue
        return target
    raise MatsideError(
        f"{beside}: cannot be written, so the clips that need a name could not be asked for. Give another folder with --out."
    )


def _line(cells: Sequence[object], table: Table | None) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=table.separator if table else ",", lineterminator="\n").writerow([safe_cell(cell) for cell in cells])
    return out.getvalue()
