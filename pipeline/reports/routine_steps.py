"""Which skills a routine's clip shows, in which order, against the routine as it is written down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.attempts.routine import LineUp, Passage, Routine, best_line_up, load_routines
from pipeline.reports.files import slug
from pipeline.reports.language import Translations, day_words
from pipeline.reports.places import athlete_file
from pipeline.reports.reading_view import skill_title
from pipeline.store import Store
from pipeline.vocabulary import Setting, Skill

KEPT = "routines.toml"  # the coach's own, beside the results; without it those that come with Matside


@dataclass(frozen=True)
class StepView:
    """One skill of a routine."""

    words: str
    kind: str  # shown, extra, moved, missing
    anchor: str  # of its attempt on the athlete's page; empty where missing


@dataclass(frozen=True)
class RoutineLine:
    """One routine on one clip."""

    athlete: str
    file: str  # the athlete's page
    anchor: str  # of its first attempt there
    title: str
    routine: str  # its name, empty where none fits
    day: str
    steps: list[StepView]
    said: str

    @property
    def complete(self) -> bool:
        """Whether it was shown as written, so that its steps need not be listed."""
        return bool(self.routine) and all(step.kind == "shown" for step in self.steps)


def routines_in_force(data: Path) -> tuple[Routine, ...]:
    """The coach's own routines kept in the data folder, or the shipped ones. Raises WrongRoutines with one line."""
    return load_routines(data / KEPT if (data / KEPT).is_file() else None)


def routine_lines(tr: Translations, store: Store, athlete: str = "") -> list[RoutineLine]:
    """Every clip with several skills in a routine, the latest first; of one athlete where a code is given."""
    attempts = store.attempts(athlete or None)
    attempts = attempts[(attempts["setting"] == Setting.ROUTINE) & (attempts["athlete"] != "") & attempts["skill"].isin(list(Skill))]
    clips = [part.sort_values("number") for _clip, part in attempts.groupby("clip", sort=False) if len(part) > 1]
    if not clips:
        return []
    routines = routines_in_force(store.path.parent)
    lines = []
    for part in clips:
        found, links = [Skill(skill) for skill in part["skill"]], [slug(link) for link in part["link"]]
        up = best_line_up(routines, found)
        first = part.iloc[0]
        lines.append((first["date"], RoutineLine(
            first["athlete"], f"athletes/{athlete_file(first['athlete'])}", links[0], up.routine.name if up else tr.gettext("A routine"), up.routine.name if up else "",
            day_words(tr, first["date"]), steps(tr, up, found, links), in_words(tr, up, found),
        )))  # fmt: skip
    return [line for _date, line in sorted(lines, key=lambda one: (one[0], one[1].athlete), reverse=True)]


def passages_of(store: Store, athlete: str) -> dict[str, tuple[Passage, ...]]:
    """What the routine shown asks of each of an athlete's attempts in it, by the attempt's link; nothing where no routine fits."""
    attempts = store.attempts(athlete)
    attempts = attempts[(attempts["setting"] == Setting.ROUTINE) & attempts["skill"].isin(list(Skill))]
    routines = routines_in_force(store.path.parent) if len(attempts) else ()
    out: dict[str, tuple[Passage, ...]] = {}
    for _clip, part in attempts.groupby("clip", sort=False):
        part = part.sort_values("number")
        up = best_line_up(routines, [Skill(skill) for skill in part["skill"]])
        if up is None:
            continue
        for _place, j in up.matched:
            out[part["link"].iloc[j]] = up.routine.passages_of(Skill(part["skill"].iloc[j]))
    return out


def steps(tr: Translations, up: LineUp | None, found: Sequence[Skill], links: Sequence[str]) -> list[StepView]:
    """What was shown, in order, with what is missing put in where it belongs."""
    place = {j: i for i, j in up.matched} if up else {}
    kinds = {j: "extra" for j in up.extra} | {j: "moved" for _, j in up.out_of_order} if up else {}
    missing = list(up.missing) if up else []
    out = []
    for j, skill in enumerate(found):
        while up and missing and j in place and missing[0] < place[j]:
            out.append(_missing(tr, up.routine.skills[missing.pop(0)]))
        kind = kinds.get(j, "shown")
        name = tr.gettext(skill_title(skill))
        words = {"extra": tr.gettext("%s, not part of it"), "moved": tr.gettext("%s, out of order")}.get(kind, "%s") % name
        out.append(StepView(words, kind, links[j]))
    return out + ([_missing(tr, up.routine.skills[i]) for i in missing] if up else [])


def _missing(tr: Translations, skill: Skill) -> StepView:
    return StepView(tr.gettext("%s, missing or not found") % tr.gettext(skill_title(skill)), "missing", "")


def in_words(tr: Translations, up: LineUp | None, found: Sequence[Skill]) -> str:
    """The differences in a sentence or three."""
    if up is None:
        return tr.gettext("None of the routines that are written down fits it by half.")
    if up.complete:
        return tr.gettext("Shown as written.")

    def listed(skills: Sequence[Skill]) -> str:
        return ", ".join(tr.gettext(skill_title(skill)) for skill in skills)

    wanted = up.routine.skills
    said = []
    if up.missing:
        said.append(tr.gettext("Missing, or not found: %s.") % listed([wanted[i] for i in up.missing]))
    if up.extra:
        said.append(tr.gettext("Not part of it: %s.") % listed([found[j] for j in up.extra]))
    if up.out_of_order:
        said.append(tr.gettext("Out of order: %s.") % listed([wanted[i] for i, _ in up.out_of_order]))
    return " ".join(said)
