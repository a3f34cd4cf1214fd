"""Minutes and groups of a rotation: what adds up, and who is where when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from pipeline.errors import MatsideError
from pipeline.practice.settings import PracticeSettings

T = TypeVar("T")
SMALLEST_GROUP = 2  # athletes, where there are so many: nobody practises alone


@dataclass(frozen=True)
class Rotation:
    """Whole minutes. `places[r][g]` is the station (0, 1, ...) of group g in round r; each group is at each station once."""

    minutes: int
    warm_up: int
    round_minutes: int
    close: int
    places: tuple[tuple[int, ...], ...]

    @property
    def stations(self) -> int:
        """How many stations there are; so many rounds, too."""
        return len(self.places)

    @property
    def starts(self) -> tuple[int, ...]:
        """The minute at which each round starts."""
        return tuple(self.warm_up + r * self.round_minutes for r in range(self.stations))


def stations_that_fit(settings: PracticeSettings) -> int:
    """How many stations the minutes suffice for. Raises MatsideError where not for one."""
    free = settings.minutes - settings.warm_up - settings.close
    if free < settings.shortest_station:
        least = settings.warm_up + settings.close + settings.shortest_station
        raise MatsideError(
            f"minutes: {settings.minutes} do not suffice for {settings.warm_up} of warm-up, {settings.close} to close and one station of "
            f"{settings.shortest_station}. Expected {least} or more, or shorter parts."
        )
    return min(settings.stations, free // settings.shortest_station)


def plan_rotation(settings: PracticeSettings, stations: int, groups: int) -> Rotation:
    """A rotation over `stations` (at most as many as fit) for `groups` (at most as many as stations). The minutes add up exactly.

    All rounds are equally long; the minutes that do not divide go to the warm-up.
    """
    if not 1 <= groups <= stations <= stations_that_fit(settings):
        raise ValueError(f"{groups} groups at {stations} stations: expected 1 to {stations_that_fit(settings)}, and no more groups.")
    each, rest = divmod(settings.minutes - settings.warm_up - settings.close, stations)
    places = tuple(tuple((g + r) % stations for g in range(groups)) for r in range(stations))
    return Rotation(settings.minutes, settings.warm_up + rest, each, settings.close, places)


def number_of_groups(athletes: int, stations: int) -> int:
    """As many groups as stations, unless somebody would then practise alone."""
    return max(1, min(stations, athletes // SMALLEST_GROUP))


def in_groups(line: Sequence[T], groups: int) -> list[list[T]]:
    """The line cut into groups whose sizes differ by one at most, the larger first; neighbours stay together.

    >>> in_groups("abcdefgh", 3)
    [['a', 'b', 'c'], ['d', 'e', 'f'], ['g', 'h']]
    """
    size, more = divmod(len(line), groups)
    ends = [size * g + min(g, more) for g in range(groups + 1)]
    return [list(line[a:b]) for a, b in pairwise(ends)]
