"""The shapes that the pages' words come in."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SkillWords:
    """Words shared by the details of one skill."""

    title: str
    key_window: str  # what the shaded part of the plot is
    film: str  # how to film it next time
    caution: str


@dataclass(frozen=True)
class DetailWords:
    """Words of one detail. `under` and `over` name the fault on each side of the target."""

    how: str  # how it was measured, one sentence; a second one, on the interval, is shared
    good: str
    under: str
    over: str
    next_under: str
    next_over: str
