"""Numbers as people read them: rounded no finer than they are known, with their unit and their ±."""

from __future__ import annotations

import math

from pipeline.vocabulary import ARMS_PER_S, CHORD, COUNTS, DEGREES, HANDS, LEG, SECONDS, SHANK, SPARC, STEPS


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
    """168° ± 4°, or 168° (161° to 171°) where the interval is lopsided."""
    half = half_width(low, high)
    shown = quantity(value, unit, half=half)
    if abs((high - value) - (value - low)) <= EVEN * (high - low):
        decimals = places(unit, half)
        step = 10**-decimals
        if unit == ARMS_PER_S:  # a unit of words is said once
            shown = number(value, decimals)
        return f"{shown} ± {number(math.ceil(half / step - 1e-9) * step, decimals)}{UNIT.get(unit, '')}"
    return f"{shown} ({span(low, high, unit)})"


def span(low: float, high: float, unit: str) -> str:
    """The interval, rounded outwards: 164° to 172°."""
    step = 10 ** -places(unit, half_width(low, high))
    decimals = places(unit, half_width(low, high))
    down, up = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    return f"{number(down, decimals)} to {number(up, decimals)}{UNIT.get(unit, f' {unit}')}"
