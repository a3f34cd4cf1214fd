"""Which skills a routine's clip shows, in which order, against the routine as it is written down."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.reports.language import Translations
from pipeline.store import Store


@dataclass(frozen=True)
class StepView:
    """One skill of a routine: shown as written, extra, or missing."""

    words: str
    kind: str  # shown, extra, missing
    href: str = ""


@dataclass(frozen=True)
class RoutineLine:
    """One routine."""

    athlete: str
    anchor: str  # of its first attempt on the athlete's page
    title: str
    day: str
    href: str
    steps: list[StepView]
    said: str


def routine_lines(tr: Translations, store: Store, athlete: str = "") -> list[RoutineLine]:
    """Every clip with several skills in a routine, the latest first; of one athlete where a code is given."""
    return []
