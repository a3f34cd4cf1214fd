"""Numbers as people read them: rounded no finer than they are known, with their unit and their ±."""

from __future__ import annotations

import math

from pipeline.vocabulary import ARMS_PER_S, CHORD, COUNTS, DEGREES, HANDS, LEG, SECONDS, SHANK, SPARC, STEPS, known_detail


def _(text: str) -> str:  # marks words for the catalogue; translated where they are shown
    return text


MINUS, NARROW_SPACE = "\u2212", "\u202f"
UNIT = {
    DEGREES: "°", SECONDS: f"{NARROW_SPACE}s", CHORD: f"{NARROW_SPACE}%", SHANK: f"{NARROW_SPACE}%", LEG: f"{NARROW_SPACE}%",
    ARMS_PER_S: " arm lengths/s", SPARC: "",
}  # fmt: skip
SINGULAR = {STEPS: " step", HANDS: " hand"}
OF_WHAT = {CHORD: _("of the line's length"), SHANK: _("of the shank"), LEG: _("of the leg")}
PLACES = {SECONDS: 2, ARMS_PER_S: 1, SPARC: 2} | dict.fromkeys(COUNTS, 0)
NEVER_BELOW_0 = (SECONDS, CHORD, SHANK, LEG, *COUNTS)  # so their ranges end there
EVEN = 0.25  # an interval whose halves differ by less than this share of its width is written as ±


def places(unit: str, half: float) -> int:
    """Decimal places: none, unless the unit asks for some or the reading is known to better than one."""
    return PLACES.get(unit, 1 if half < 1 else 0)


def number(value: float, decimals: int = 0) -> str:
    """A number with a true minus sign and never a minus zero."""
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if not text.strip("-0.") else text.replace("-", MINUS)


def quantity(value: float, unit: str, *, half: float = math.inf) -> str:
    """A value with its unit, for instance 168°."""
    shown = number(value, places(unit, half))
    return shown + (SINGULAR[unit] if unit in SINGULAR and shown == "1" else UNIT.get(unit, f" {unit}"))


def half_width(low: float, high: float) -> float:
    """Half of the interval."""
    return (high - low) / 2


def plus_minus(value: float, low: float, high: float, unit: str) -> str:
    """168° ± 4°, or 168° (161–171°) where the interval is lopsided."""
    shown = quantity(value, unit, half=half_width(low, high))
    if _even(value, low, high):
        if unit == ARMS_PER_S:  # a unit of words is said once
            shown = number(value, places(unit, half_width(low, high)))
        return f"{shown} {_half(low, high, unit)}{UNIT.get(unit, '')}"
    return f"{shown} ({span(low, high, unit)})"


def doubt(value: float, low: float, high: float, unit: str) -> str:
    """The same interval beside a value in a table, without its unit: ± 4, or 161–171. Nothing where there is none."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return ""
    return _half(low, high, unit) if _even(value, low, high) else _ends(low, high, unit)


def span(low: float, high: float, unit: str) -> str:
    """The interval, rounded outwards: 164–172°, and with a minus in it −3 … 5°. The same in every language."""
    return f"{_ends(low, high, unit)}{UNIT.get(unit, f' {unit}')}"


def _even(value: float, low: float, high: float) -> bool:
    return abs((high - value) - (value - low)) <= EVEN * (high - low)


def _half(low: float, high: float, unit: str) -> str:
    half = half_width(low, high)
    decimals = places(unit, half)
    step = 10**-decimals
    return f"± {number(math.ceil(half / step - 1e-9) * step, decimals)}"


def shown_ends(value: float, low: float, high: float, skill: str, detail: str) -> tuple[float, float]:
    """The ends of a value's interval, cut where the detail's values end: at 0 where its unit is never below, at 180 of a knee."""
    known = known_detail(skill, detail)
    if known is None or not math.isfinite(high - low):
        return low, high
    least, most = known.limits
    if known.unit in NEVER_BELOW_0:
        least = 0.0
    return max(low, least) if value >= least else low, min(high, most) if value <= most else high


def outwards(low: float, high: float, unit: str) -> tuple[float, float]:
    """The interval's ends as they are shown: rounded away from its middle."""
    step = 10 ** -places(unit, half_width(low, high))
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def _ends(low: float, high: float, unit: str) -> str:
    down, up = (number(end, places(unit, half_width(low, high))) for end in outwards(low, high, unit))
    return f"{down} … {up}" if MINUS in down + up else f"{down}–{up}"
