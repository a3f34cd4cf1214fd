"""The one detail of each skill that an athlete works on next, and why. The rule, exactly, for one athlete and one skill:

1. A detail the coach has pinned is the focus, until its date or until it is taken off.
2. Only what is certain counts: the whole 95 % interval lies beyond what is met, in at least half of the day's goes (so one of two
   is enough). The middle one of these speaks, of two the kinder; the size of the shortfall is how far the kind end of its interval
   lies beyond that limit, in units of the detail's `close_within`.
3. Safety first: a certain shortfall that loads the neck or the wrists (SAFETY) comes before all others, and one go is enough.
4. Otherwise the largest certain shortfall of a body line; a further detail (`Detail.further`) only where no body line falls short.
5. A focus that has been worked on for three sessions (four with the one it was chosen in) without a certain change, as the
   trend pages mean it, is set aside for the next three, and the next largest takes its place. Details of SAFETY are not set
   aside; that they do not change is said.
6. Without a certain shortfall: "cannot tell yet" if anything could not be told, or the skill was last filmed more than
   STALE_DAYS before the newest clip; what is certainly short in fewer than half of the goes is said there, as a slip. "Met" if
   nothing slipped and what speaks for the day is certainly met in every detail. Where every body line was read, none so roughly that
   its interval reaches from met to not yet, filming again would tell no more (`Focus.seen`): what is close is left to the coach's eye.

Everything is worked out anew from the readings each time, so it is the same from run to run. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

import pandas as pd

from pipeline.practice.changes import Changes
from pipeline.practice.evidence import Day, Evidence, Key, Tolerances, certain_shortfall, days_of, shortfall, surely_met
from pipeline.practice.pins import Pin
from pipeline.scoring.verdicts import verdict_of
from pipeline.vocabulary import DETAILS, Skill, Verdict

WORKED_ON = 3  # sessions with a focus before it may be set aside, and sessions for which it then is
STALE_DAYS = 56  # older than that, a reading says little of a growing beginner
NECK, WRISTS = "neck", "wrists"
# Details that show weight where it should not be; in this order where several are certain. Common practice, no source.
SAFETY: Mapping[tuple[str, str], str] = {
    ("backward_roll", "head_turn"): NECK,  # a turned head takes the roll on one side of the neck
    ("backward_roll", "hands_even"): NECK,  # one hand alone does not take the weight off it
    ("backward_roll", "knee_contact_time"): NECK,  # who lands on the knees has not pushed: the neck carried the roll
    ("backward_roll", "knee_clearance"): NECK,
    ("cartwheel", "hand_turned_in"): WRISTS,
}
FURTHER = {(str(d.skill), d.id) for d in DETAILS if d.further}
ORDER = {(str(d.skill), d.id): i for i, d in enumerate(DETAILS)}
SKILLS = {str(s): i for i, s in enumerate(Skill)}


class Why(StrEnum):
    """What made a detail the focus, or that there is none."""

    PINNED = "pinned"
    SAFETY = "safety"
    LARGEST = "largest"
    CANNOT_TELL = "cannot tell"
    MET = "met"


@dataclass(frozen=True)
class Focus:
    """What one athlete works on next in one skill. Without a focus `key` is what came nearest to one, or None."""

    athlete: str
    skill: str
    why: Why
    key: Key | None = None
    direction: str = ""  # under or over the target; empty where that cannot be told
    evidence: Evidence | None = None
    size: float = 0.0  # certain shortfall in close_within
    loads: str = ""  # NECK or WRISTS for a safety detail
    worked: int = 0  # sessions in a row with this focus before the latest one
    unchanged: bool = False  # a safety detail that three sessions have not certainly changed
    again: bool = False  # set aside before, and back because nothing else is certain
    aside: tuple[str, ...] = ()  # details set aside now after three sessions without change
    latest: str = ""  # ISO date on which the skill was last filmed
    stale: bool = False
    seen: bool = False  # nothing certain, though every body line was read well enough for a verdict; without a key all of them are met
    until: str = ""  # of a pin

    @property
    def certain(self) -> bool:
        """Whether there is something to work on, chosen by the rule or by the coach."""
        return self.why in (Why.PINNED, Why.SAFETY, Why.LARGEST)

    @property
    def rank(self) -> tuple[int, float, int]:
        """Sorts an athlete's skills by what matters most: safety, the coach's own, the largest shortfall, the rest."""
        place = {Why.SAFETY: 0, Why.PINNED: 1, Why.LARGEST: 2, Why.CANNOT_TELL: 3, Why.MET: 4}[self.why]
        if self.why is Why.PINNED and self.loads:
            place = 0
        return place, -self.size, SKILLS.get(self.skill, len(SKILLS))


@dataclass(frozen=True)
class _Candidate:
    key: Key  # without a side where both sides are certain
    evidence: Evidence  # of the worse side
    size: float
    direction: str
    loads: str


def choose_focus(
    readings: pd.DataFrame, tolerances: Tolerances, *, pins: Iterable[Pin] = (), today: date | None = None
) -> dict[tuple[str, str], Focus]:
    """{(athlete, skill): focus} for every skill an athlete has dated readings or a pin in.

    readings : all of the club, READING_COLUMNS and `link`; chance is learnt from them. Verdicts are not looked at.
    today    : the day on which pins must still hold.
    """
    days, changes = days_of(readings, tolerances), Changes(readings)
    newest = max((d.date for some in days.values() for d in some), default="")
    oldest = (date.fromisoformat(newest) - timedelta(days=STALE_DAYS)).isoformat() if newest else ""
    out = {}
    for (athlete, skill), some in days.items():
        focus = focus_of(athlete, skill, some, tolerances, changes)
        out[athlete, skill] = _stale(focus) if some[-1].date < oldest else focus
    for pin in pins:
        if pin.holds(today or date.today()):
            out[pin.athlete, pin.skill] = _pinned(
                pin, out.get((pin.athlete, pin.skill)), days.get((pin.athlete, pin.skill), []), tolerances
            )
    return dict(sorted(out.items(), key=lambda item: (item[0][0], SKILLS.get(item[0][1], len(SKILLS)))))


def _stale(focus: Focus) -> Focus:
    return Focus(
        focus.athlete, focus.skill, Why.CANNOT_TELL, focus.key, focus.direction, focus.evidence, latest=focus.latest, stale=True
    )  # fmt: skip


def _certain(skill: str, day: Day, tolerances: Tolerances) -> list[_Candidate]:
    """The certain shortfalls of a day, one a detail, the one to work on first."""
    found: dict[str, _Candidate] = {}
    slips = {key: one for key, one in day.slips.items() if (skill, key.detail) in SAFETY}
    for key, one in {**day.details, **slips}.items():
        size, direction = certain_shortfall(one.low, one.high, tolerances[skill, key.detail]) if one.known else (0.0, "")
        other = found.get(key.detail)
        if size > 0 and other is None:
            found[key.detail] = _Candidate(key, one, size, direction, SAFETY.get((skill, key.detail), ""))
        elif size > 0 and other is not None:
            worse = _Candidate(key, one, size, direction, other.loads) if size > other.size else other
            both = other.direction == direction and key.side and other.key.side
            found[key.detail] = replace(worse, key=Key(key.detail, "")) if both else worse
    safety = list(SAFETY)

    def place(c: _Candidate) -> tuple[int, bool, float, int]:
        key = (skill, c.key.detail)
        return safety.index(key) if c.loads else len(safety), key in FURTHER, -c.size, ORDER.get(key, 99)

    return sorted(found.values(), key=place)


def focus_of(athlete: str, skill: str, days: Sequence[Day], tolerances: Tolerances, changes: Changes) -> Focus:
    """The rule, walked through one athlete's days with one skill, in time order; the last day's focus."""
    aside: dict[str, int] = {}  # details set aside, and since which day
    row: list[int] = []  # the days in a row with the same focus
    now = ""
    focus = Focus(athlete, skill, Why.CANNOT_TELL)
    for i, day in enumerate(days):
        aside = {detail: since for detail, since in aside.items() if i - since < WORKED_ON}
        certain = _certain(skill, day, tolerances)
        unchanged = False
        if now and len(row) >= WORKED_ON:
            changed = changes.changed(athlete, skill, now, day.setting, days[row[0]].date, day.date)
            if changed is True:
                row = []
            elif changed is False and (skill, now) in SAFETY:
                unchanged = True
            elif changed is False:
                aside[now] = i
        free = [c for c in certain if c.key.detail not in aside]
        pick = free[0] if free else min(certain, key=lambda c: aside[c.key.detail], default=None)
        if pick is None:
            focus = _none(athlete, skill, day, tolerances, tuple(aside))
            if focus.why is Why.MET:
                now, row = "", []
            continue
        again = pick.key.detail in aside
        if pick.key.detail != now or again:
            now, row, unchanged = pick.key.detail, [], False
            aside.pop(now, None)
        focus = Focus(
            athlete, skill, Why.SAFETY if pick.loads else Why.LARGEST, pick.key, pick.direction, pick.evidence, pick.size, pick.loads,
            len(row), unchanged, again, tuple(aside), day.date,
        )  # fmt: skip
        row = [*row, i]
    return focus


def _none(athlete: str, skill: str, day: Day, tolerances: Tolerances, aside: tuple[str, ...]) -> Focus:
    """No certain shortfall: all met, or the detail that came nearest to one: a slip, else what lies furthest from what is wanted."""
    nothing = Focus(athlete, skill, Why.CANNOT_TELL, aside=aside, latest=day.date, seen=_seen(skill, day, tolerances))
    if day.slips:
        sizes = {key: certain_shortfall(one.low, one.high, tolerances[skill, key.detail]) for key, one in day.slips.items()}
        key = max(sizes, key=lambda k: (sizes[k][0], -ORDER.get((skill, k.detail), 99)))
        return replace(nothing, key=key, direction=sizes[key][1], evidence=day.slips[key])
    known = {key: one for key, one in day.details.items() if one.known}
    open_ = {key: one for key, one in known.items() if not surely_met(one, tolerances[skill, key.detail])}
    if known and not open_:
        return replace(nothing, why=Why.MET, seen=False)
    sizes = {key: shortfall(one.value, tolerances[skill, key.detail]) for key, one in open_.items()}
    if nothing.seen:  # of the lines the one that is least surely met, if any; what else is open is no matter for the eye
        near = {key: size for key, size in sizes.items() if (skill, key.detail) not in FURTHER}
    else:
        near = {key: size for key, size in sizes.items() if not _within_met(open_[key], tolerances[skill, key.detail])}
    if not near:
        return nothing
    key = max(near, key=lambda k: (near[k][0], -ORDER.get((skill, k.detail), 99)))
    return replace(nothing, key=key, direction=near[key][1], evidence=known[key])


def _seen(skill: str, day: Day, tolerances: Tolerances) -> bool:
    """Whether every body line of the day was read, and none so roughly that its interval reaches from met to not yet."""
    lines = [(one, tolerances[skill, key.detail]) for key, one in day.details.items() if (skill, key.detail) not in FURTHER]
    return bool(lines) and all(
        one.known and verdict_of(one.value, one.low, one.high, tolerance) is not Verdict.CANNOT_TELL for one, tolerance in lines
    )


def _within_met(one: Evidence, tolerance) -> bool:  # the value itself, without its interval
    low, high = tolerance.met
    return low <= one.value <= high


def _pinned(pin: Pin, ruled: Focus | None, days: Sequence[Day], tolerances: Tolerances) -> Focus:
    """The coach's own focus, with the latest reading of it where there is one."""
    details = days[-1].details if days else {}
    keys = [key for key in details if key.detail == pin.detail and pin.side in ("", key.side) and details[key].known]
    tolerance = tolerances.get((pin.skill, pin.detail))
    base = replace(
        ruled or Focus(pin.athlete, pin.skill, Why.PINNED), why=Why.PINNED, key=Key(pin.detail, pin.side), direction="", evidence=None,
        size=0.0, loads=SAFETY.get((pin.skill, pin.detail), ""), worked=0, unchanged=False, again=False, aside=(), stale=False, seen=False, until=pin.until,
    )  # fmt: skip
    if not keys or tolerance is None:
        return base
    worst = max(keys, key=lambda key: (shortfall(details[key].value, tolerance)[0], key))
    one = details[worst]
    return replace(
        base, direction=shortfall(one.value, tolerance)[1], evidence=one, size=certain_shortfall(one.low, one.high, tolerance)[0]
    )  # fmt: skip
