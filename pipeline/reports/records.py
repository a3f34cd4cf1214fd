"""What the store holds, scored and put in page order: weeks, athletes, attempts, readings. Knows no HTML."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, TypeVar

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
ROW = TypeVar("ROW")


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


class AttemptRow(NamedTuple):
    """One attempt as stored."""

    athlete: str
    cohort: str
    date: str
    clip: str
    link: str
    number: int
    skill: str
    setting: str
    start_s: float
    end_s: float
    key_start_s: float
    key_end_s: float
    direction: int
    lead_side: str


class ClipRow(NamedTuple):
    """One clip as stored."""

    clip: str
    athlete: str
    date: str
    status: str
    reason: str


@dataclass
class AttemptRecord:
    """One attempt with its readings in the order of the vocabulary."""

    row: AttemptRow
    readings: list[ReadingRow] = field(default_factory=list)


@dataclass
class Week:
    """What one week holds; its key and one date in it."""

    key: str
    date: str
    clips: list[ClipRow] = field(default_factory=list)
    attempts: list[AttemptRecord] = field(default_factory=list)

    @property
    def readings(self) -> list[ReadingRow]:
        """All readings of the week."""
        return [reading for attempt in self.attempts for reading in attempt.readings]


@dataclass
class Records:
    """Everything the pages show."""

    scored: pd.DataFrame
    clips: pd.DataFrame
    weeks: dict[str, Week]  # latest first, undated last
    athletes: dict[str, list[AttemptRecord]]  # by code, in order; each in time order


def attempts_of(store: Store, scored: pd.DataFrame, athlete: str | None = None) -> list[AttemptRecord]:
    """Every attempt, or one athlete's, in time order, with its scored readings in the order of the vocabulary."""
    attempts = {row.link: AttemptRecord(row) for row in _rows(store.attempts(athlete), AttemptRow)}
    for reading in _rows(scored, ReadingRow):
        attempts[reading.link].readings.append(reading)
    for attempt in attempts.values():
        attempt.readings.sort(key=lambda r: (ORDER.get((r.skill, r.detail), len(ORDER)), r.detail, r.side))
    return list(attempts.values())


def read_records(store: Store, tolerances: Tolerances) -> Records:
    """Read the store once, score it, and sort it for the pages."""
    scored, clips = score(store.readings(), tolerances), store.clips()
    weeks: dict[str, Week] = {}
    athletes: dict[str, list[AttemptRecord]] = defaultdict(list)
    for clip in _rows(clips, ClipRow):
        key = week_key(clip.date)
        weeks.setdefault(key, Week(key, clip.date)).clips.append(clip)
    for attempt in attempts_of(store, scored):
        weeks[week_key(attempt.row.date)].attempts.append(attempt)
        if attempt.row.athlete:
            athletes[attempt.row.athlete].append(attempt)
    ordered = sorted(weeks, key=lambda key: (key != "undated", key), reverse=True)
    return Records(scored, clips, {key: weeks[key] for key in ordered}, {code: athletes[code] for code in sorted(athletes)})


def _rows(table: pd.DataFrame, kind: type[ROW]) -> Iterator[ROW]:
    columns = list(kind._fields)  # type: ignore[attr-defined]
    return (kind(*values) for values in table[columns].itertuples(index=False, name=None))


def columns_of(rows: Sequence[ReadingRow]) -> list[COLUMN]:
    """The columns a table of these readings needs, in the order of the vocabulary."""
    return sorted({r.column for r in rows}, key=lambda c: (SKILL_ORDER.get(c[0], 99), ORDER.get(c[:2], len(ORDER)), c[1], c[2]))
