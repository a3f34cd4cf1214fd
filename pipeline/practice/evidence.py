"""What is known of each detail on each day: one attempt that speaks for the day's goes, with its own interval."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import NamedTuple

import pandas as pd

from pipeline.scoring.tolerances import Kind, Tolerance
from pipeline.vocabulary import Setting

CARRIED_DAYS = 21  # a detail without a value keeps the one of an earlier day for so long; common practice, no source
UNDER, OVER = "under", "over"
Tolerances = Mapping[tuple[str, str], Tolerance]


class Key(NamedTuple):
    """One detail on one side of the body."""

    detail: str
    side: str


@dataclass(frozen=True)
class Evidence:
    """One reading that stands for a day. All in the detail's unit; NaN and a reason where nothing could be read."""

    detail: str
    side: str
    unit: str
    value: float
    low: float
    high: float
    date: str  # ISO
    setting: str
    link: str = ""
    reason: str = ""
    goes: int = 1  # of that day with a value
    short: int = 0  # goes among them whose whole interval lies beyond what is met

    @property
    def known(self) -> bool:
        """Whether there is a value with an interval."""
        return math.isfinite(self.value) and not math.isnan(self.low) and not math.isnan(self.high)


@dataclass
class Day:
    """One athlete's day with one skill."""

    date: str
    setting: str
    details: dict[Key, Evidence] = field(default_factory=dict)
    slips: dict[Key, Evidence] = field(default_factory=dict)  # certainly short, but in fewer than half of the day's goes


def certain_shortfall(low: float, high: float, tolerance: Tolerance) -> tuple[float, str]:
    """How far the kind end of an interval lies beyond what is met, in close_within; and on which side of the target.

    (0, "") where the interval touches what is met, or has no ends.

    >>> knee = Tolerance(Kind.AT_LEAST, target=180, met_within=15, close_within=30)
    >>> certain_shortfall(130, 150, knee)
    (0.5, 'under')
    >>> certain_shortfall(130, 165, knee)
    (0.0, '')
    """
    met_low, met_high = tolerance.met
    under, over = met_low - high, low - met_high
    size = max(under, over) if not (math.isnan(low) or math.isnan(high)) else 0.0
    if not size > 0:
        return 0.0, ""
    return size / (tolerance.close_within or 1.0), UNDER if under > over else OVER


def shortfall(value: float, tolerance: Tolerance) -> tuple[float, str]:
    """How far a value lies from the target on a side that counts, in close_within; and on which side."""
    apart = value - tolerance.target
    if apart < 0 and tolerance.kind is not Kind.AT_MOST:
        return -apart / (tolerance.close_within or 1.0), UNDER
    if apart > 0 and tolerance.kind is not Kind.AT_LEAST:
        return apart / (tolerance.close_within or 1.0), OVER
    return 0.0, ""


def surely_met(one: Evidence, tolerance: Tolerance) -> bool:
    """Whether the whole interval lies within what is met."""
    met_low, met_high = tolerance.met
    return one.known and one.low >= met_low and one.high <= met_high


def days_of(readings: pd.DataFrame, tolerances: Tolerances) -> dict[tuple[str, str], list[Day]]:
    """{(athlete, skill): days in time order} from readings with READING_COLUMNS and `link`; undated ones are left out.

    On a day with the skill alone only those attempts count; what a routine costs is another question. Details without a
    tolerance, or asked for in the other setting only, are left out: nothing says what would be wanted.
    """
    columns = ["athlete", "date", "skill", "setting", "detail", "side", "unit", "value", "low", "high", "reason", "link"]
    grouped: dict[tuple[str, str], dict[str, dict[str, dict[Key, list[Evidence]]]]] = defaultdict(
        lambda: defaultdict(lambda: defaultdict(lambda: defaultdict(list)))
    )
    for athlete, day, skill, setting, detail, side, unit, value, low, high, reason, link in readings[columns].itertuples(
        index=False, name=None
    ):
        if athlete and day and (skill, detail) in tolerances and tolerances[skill, detail].asks(setting):
            one = Evidence(detail, side, unit, value, low, high, day, setting, link, reason)
            grouped[athlete, skill][day][setting][Key(detail, side)].append(one)
    out: dict[tuple[str, str], list[Day]] = {}
    for (athlete, skill), by_day in grouped.items():
        days = []
        for day in sorted(by_day):
            setting = str(Setting.ALONE) if str(Setting.ALONE) in by_day[day] else min(by_day[day])
            that = Day(day, setting)
            for key, some in by_day[day][setting].items():
                that.details[key], slip = _spoken(some, tolerances[skill, key.detail])
                if slip is not None:
                    that.slips[key] = slip
            days.append(that)
        _carry(days)
        out[athlete, skill] = days
    return out


def _spoken(some: Sequence[Evidence], tolerance: Tolerance) -> tuple[Evidence, Evidence | None]:
    """The reading that speaks for a day's goes, and a slip: one that is certainly short where fewer than half of the goes are.

    Where at least half of the goes are certainly short, the middle one of these speaks (of two, the kinder); so of two goes one is
    enough. Else the middle one of the others does, by how far it is from the target (of two, the further). Without values, the last one.
    """
    known = [one for one in some if one.known]
    if not known:
        return some[-1], None
    sizes = {id(one): certain_shortfall(one.low, one.high, tolerance)[0] for one in known}
    short = sorted((one for one in known if sizes[id(one)] > 0), key=lambda one: sizes[id(one)])
    others = sorted((one for one in known if not sizes[id(one)] > 0), key=lambda one: shortfall(one.value, tolerance)[0])
    middle = replace(short[(len(short) - 1) // 2], goes=len(known), short=len(short)) if short else None
    if middle is not None and 2 * len(short) >= len(known):
        return middle, None
    return replace(others[len(others) // 2], goes=len(known), short=len(short)), middle


def _carry(days: list[Day]) -> None:
    """Where a day says nothing of a detail, the last day that did still stands, for a while."""
    last: dict[Key, Evidence] = {}
    for day in days:
        for key, one in day.details.items():
            if one.known:
                last[key] = one
        oldest = (date.fromisoformat(day.date) - timedelta(days=CARRIED_DAYS)).isoformat()
        for key, one in last.items():
            if one.date >= oldest:
                day.details[key] = one
