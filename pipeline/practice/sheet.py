"""The next rotation of each cohort: stations by what is in focus, groups in line-up order, each athlete's focus at each station."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.practice.focus import SKILLS, Focus, Why
from pipeline.practice.lineup import Place
from pipeline.practice.rotation import Rotation, in_groups, number_of_groups, plan_rotation, stations_that_fit
from pipeline.practice.settings import PracticeSettings
from pipeline.vocabulary import Skill

MOST_ON_A_PAGE = 12  # athletes in large type
MOST_BESIDE_FOUR = 8  # where four stations leave less room for each
USUAL = (Skill.LUNGE, Skill.CARTWHEEL, Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND)  # fill the plan where nothing is in focus yet


@dataclass(frozen=True)
class Line:
    """One athlete on the sheet."""

    number: int  # in the line-up
    place: Place
    focuses: tuple[Focus | None, ...]  # one a station; None where nothing is on record
    first: int | None  # the station that matters most to her or him


@dataclass(frozen=True)
class Group:
    """Athletes who go from station to station together."""

    number: int
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Sheet:
    """One cohort's rotation."""

    cohort: str
    settings: PracticeSettings
    rotation: Rotation
    stations: tuple[str, ...]  # skills
    groups: tuple[Group, ...]

    @property
    def athletes(self) -> int:
        """How many are on it."""
        return sum(len(group.lines) for group in self.groups)

    def pages(self) -> list[tuple[Group, ...]]:
        """What goes on each page: all groups on one; of a large cohort one group a page, and a large group on several."""
        most = MOST_ON_A_PAGE if len(self.stations) < 4 else MOST_BESIDE_FOUR
        if self.athletes <= most:
            return [self.groups]
        return [(Group(g.number, g.lines[i : i + most]),) for g in self.groups for i in range(0, len(g.lines), most)]


def make_sheet(cohort: str, line: Sequence[Place], focuses: Mapping[tuple[str, str], Focus], settings: PracticeSettings) -> Sheet:
    """The sheet of one cohort; `line` in line-up order, at least one athlete; focuses by (athlete, skill). Raises MatsideError."""
    most = stations_that_fit(settings)
    theirs = [focuses[key] for key in focuses if key[0] in {p.athlete for p in line}]
    stations = choose_stations(theirs, most, number_of_groups(len(line), most), settings)
    groups = in_groups(line, number_of_groups(len(line), len(stations)))
    rotation = plan_rotation(settings, len(stations), len(groups))
    number, out = 0, []
    for g, members in enumerate(groups, 1):
        lines = []
        for place in members:
            number += 1
            at = tuple(focuses.get((place.athlete, skill)) for skill in stations)
            to_do = [i for i, focus in enumerate(at) if focus is not None and focus.certain]
            lines.append(Line(number, place, at, min(to_do, key=lambda i: at[i].rank, default=None)))  # type: ignore[union-attr]
        out.append(Group(g, tuple(lines)))
    return Sheet(cohort, settings, rotation, stations, tuple(out))


def choose_stations(focuses: Sequence[Focus], most: int, groups: int, settings: PracticeSettings) -> tuple[str, ...]:
    """At most `most` skills, what is most needed first: safety, then most athletes with a focus, then most not yet told.

    With `groups` at work at the same time, no more stations need a spotter than there are spotters.
    """
    need: dict[str, list[int]] = {str(skill): [0, 0, 0] for skill in USUAL}
    for focus in focuses:
        counts = need.setdefault(focus.skill, [0, 0, 0])
        counts[0] += focus.why is Why.SAFETY
        counts[1] += focus.certain
        counts[2] += focus.why is Why.CANNOT_TELL
    ranked = sorted(need, key=lambda skill: ([-n for n in need[skill]], SKILLS.get(skill, len(SKILLS))))
    spotted = {str(skill) for skill in settings.needs_spotter}
    allowed = most if groups <= settings.spotters else settings.spotters
    chosen: list[str] = []
    for skill in ranked:
        if len(chosen) < most and (skill not in spotted or len(spotted & set(chosen)) < allowed):
            chosen.append(skill)
    return tuple(sorted(chosen, key=lambda skill: SKILLS.get(skill, len(SKILLS))))
