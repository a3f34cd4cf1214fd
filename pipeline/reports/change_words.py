"""A change over time or between cohorts, with its sign."""

from __future__ import annotations

from pipeline.reports.numbers import MINUS, UNIT
from pipeline.trends.words import amount
from pipeline.vocabulary import CHORD, LEG, SECONDS, SHANK


def signed(value: float, unit: str) -> str:
    """A change with its sign and its unit's mark: +11°, −0.4 %; nothing before what rounds to 0."""
    figure = amount(value, unit).split(" ")[0]
    sign = "" if not figure.strip("0.°") else "+" if value > 0 else MINUS
    return f"{sign}{figure}{UNIT[unit] if unit in (SECONDS, CHORD, SHANK, LEG) else ''}"
