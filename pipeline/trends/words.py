"""What a trend says, in a coach's words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import numpy as np

from pipeline.scoring.tolerances import Tolerance
from pipeline.trends.athlete import ENOUGH_SESSIONS, Change, Trend
from pipeline.trends.setting_drop import Drop
from pipeline.vocabulary import ARMS_PER_S, CHORD, DEGREES, LEG, SECONDS, SHANK, SPARC

# (skill, detail) -> word for nearer to the target, word for further from it
NEARER: dict[tuple[str, str], tuple[str, str]] = {
    ("lunge", "line_deviation"): ("nearer to one line", "further from one line"),
    ("lunge", "shoulder_angle"): ("more open", "less open"),
    ("lunge", "hip_angle"): ("straighter", "less straight"),
    ("lunge", "knee_angle"): ("straighter", "more bent"),
    ("lunge", "arms_by_ears"): ("nearer to the ears", "further from the ears"),
    ("lunge", "arm_peak_speed"): ("nearer to the speed wanted", "further from the speed wanted"),
    ("lunge", "arm_time_to_peak"): ("nearer to the time wanted", "further from the time wanted"),
    ("lunge", "arm_smoothness"): ("nearer to the smoothness wanted", "further from the smoothness wanted"),
    ("loaded_lunge", "knee_angle"): ("nearer to the bend wanted", "further from the bend wanted"),
    ("loaded_lunge", "lean_angle"): ("nearer to the lean wanted", "further from the lean wanted"),
    ("loaded_lunge", "arms_by_ears"): ("nearer to the ears", "further from the ears"),
    ("shoulder_stand", "hip_angle"): ("flatter", "less flat"),
    ("shoulder_stand", "hip_knee_angle"): ("flatter", "less flat"),
    ("shoulder_stand", "leg_to_vertical"): ("more upright", "less upright"),
    ("shoulder_stand", "toe_point"): ("more pointed", "less pointed"),
    ("shoulder_stand", "legs_together"): ("nearer together", "further apart"),
    ("shoulder_stand", "rise_hands_used"): ("less on the hands", "more on the hands"),
    ("shoulder_stand", "finish_side"): ("nearer to the quarter turn", "further from the quarter turn"),
    ("shoulder_stand", "arm_peak_speed"): ("nearer to the speed wanted", "further from the speed wanted"),
    ("shoulder_stand", "arm_time_to_peak"): ("nearer to the time wanted", "further from the time wanted"),
    ("shoulder_stand", "arm_smoothness"): ("nearer to the smoothness wanted", "further from the smoothness wanted"),
    ("backward_roll", "knee_clearance"): ("higher", "lower"),
    ("backward_roll", "knee_contact_time"): ("shorter on the floor", "longer on the floor"),
    ("backward_roll", "standing_sway"): ("steadier", "less steady"),
    ("backward_roll", "head_turn"): ("straighter", "more turned"),
    ("backward_roll", "hands_even"): ("more even", "less even"),
    ("backward_roll", "extra_steps"): ("fewer", "more"),
    ("cartwheel", "knee_angle"): ("straighter", "more bent"),
    ("cartwheel", "legs_apart"): ("wider", "narrower"),
    ("cartwheel", "toe_point"): ("more pointed", "less pointed"),
    ("cartwheel", "hands_in_turn"): ("more one after the other", "less one after the other"),
    ("cartwheel", "hands_in_line"): ("more in line", "less in line"),
    ("cartwheel", "head_to_hands"): ("nearer to the hands", "further from the hands"),
    ("cartwheel", "step_together"): ("fewer", "more"),
    ("cartwheel", "hand_turned_in"): ("more turned in", "less turned in"),
}
UNIT = {
    DEGREES: "°",
    CHORD: " % of the line",
    SHANK: " % of the shank",
    SECONDS: " s",
    LEG: " % of the leg",
    ARMS_PER_S: " arm lengths/s",
    SPARC: "",
}


def amount(value: float, unit: str) -> str:
    """`11°`, `4 % of the line`, `0.12 s`: without sign; one digit where below 3."""
    size = abs(value)
    digits = 2 if unit in (SECONDS, SPARC) else (1 if size < 2.95 else 0)
    return f"{size:.{digits}f}{UNIT.get(unit, ' ' + unit)}"


def when(day: str, other: str) -> str:
    """A day as a coach would say it: the month alone where `other` is in another month of the same year."""
    a, b = date.fromisoformat(day), date.fromisoformat(other)
    if a.year != b.year:
        return f"{a:%B} {a.year}"
    return f"{a.day} {a:%B}" if a.month == b.month else f"{a:%B}"


def distance(value: float, tolerance: Tolerance | None) -> float:
    """How far a level is from the target on the sides that count; NaN without a tolerance."""
    if tolerance is None:
        return float("nan")
    low, high = tolerance.band(0.0)
    return float(max(low - value, value - high, 0.0))


def direction(change: Change, tolerance: Tolerance | None) -> str:
    """`better`, `worse`, `past` (from one side of the target to as far on the other) or `` where it cannot be told."""
    before, after = distance(change.start, tolerance), distance(change.now, tolerance)
    if tolerance is None or not np.isfinite(after - before):
        return ""
    low, high = tolerance.band(0.0)
    crossed = (change.start < low and change.now > high) or (change.start > high and change.now < low)
    if crossed and abs(after - before) < 0.5 * abs(change.change):
        return "past"
    return "better" if after < before else "worse" if after > before else ""


def sentence(trend: Trend, tolerance: Tolerance | None) -> str:
    """One sentence: what changed and how sure that is."""
    c, n, unit = trend.change, len(trend.sessions), trend.unit
    sessions = f"{n} session{'s' if n != 1 else ''}"
    if n < ENOUGH_SESSIONS:
        return f"No change we can be sure of: {sessions}."
    if not np.isfinite(c.mdc):
        return f"No change we can be sure of: {sessions}, too few to know what is chance."
    since = when(c.start_date, c.now_date)
    way = direction(c, tolerance)
    better, worse = NEARER.get((trend.skill, trend.detail), ("nearer to the target", "further from the target"))
    if not c.real:
        if abs(c.change) > c.mdc:
            return (
                f"No change we can be sure of: {amount(c.change, unit)} between start and now, but the sessions between do not bear it out."
            )
        return f"No change we can be sure of: {amount(c.change, unit)} since {since}, and up to {amount(c.mdc, unit)} could be chance ({sessions})."
    size, limit = amount(c.change, unit), amount(c.mdc, unit)
    chance = f"({'just ' if size == limit else ''}more than the {limit} that could be chance)"
    if way == "past":
        return f"From one side of the target to the other: {size} since {since} {chance}."
    if not way:
        reached = ", at the target all along," if distance(c.start, tolerance) == distance(c.now, tolerance) == 0 else ""
        return f"{'More' if c.change > 0 else 'Less'} by {size}{reached} since {since} {chance}."
    word = better if way == "better" else worse
    return f"{word[0].upper()}{word[1:]} by {size} since {since} {chance}."


def drop_sentence(drop: Drop, skill: str, detail: str, unit: str, alone: float, tolerance: Tolerance | None) -> str:
    """What a routine costs, in one sentence; `alone` is the usual level done alone."""
    if drop.pairs == 0:
        return "Alone and in a routine were never filmed within a fortnight of each other."
    if not np.isfinite(drop.low):
        return f"Too few days with both alone and routine to compare ({drop.pairs})."
    pairs = f"{drop.pairs} pairs of sessions"
    if drop.low <= 0 <= drop.high:
        return f"No difference between alone and routine we can be sure of ({amount(drop.drop, unit)}, {pairs})."
    before, after = distance(alone, tolerance), distance(alone + drop.drop, tolerance)
    better, worse = NEARER.get((skill, detail), ("nearer to the target", "further from the target"))
    word = better if after < before else worse if after > before else ("more" if drop.drop > 0 else "less")
    ends = sorted((abs(drop.low), abs(drop.high)))
    return f"In a routine {word} by {amount(drop.drop, unit)} (95 % interval {amount(ends[0], unit)} to {amount(ends[1], unit)}, {pairs})."


Tolerances = Mapping[tuple[str, str], Tolerance]
