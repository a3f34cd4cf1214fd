"""Routines: what they consist of (from commented TOML), and how what was found on a clip lines up with one."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from pipeline.config_files import shipped_config, toml
from pipeline.errors import MatsideError, shown
from pipeline.files import written_text
from pipeline.vocabulary import Skill

SHIPPED = "routines.toml"
ROUTINE_KEYS = ("name", "skills", "passage")
LONGEST_NAME = 60
PASSAGE_KEYS = ("name", "skill", "limb", "intent")
E = TypeVar("E", bound=StrEnum)


class WrongRoutines(MatsideError):
    """A routines file that cannot be used: the line names file, routine, key, what was expected and what came."""


class Limb(StrEnum):
    """What moves in a passage."""

    ARMS = "arms"
    LEGS = "legs"


class Intent(StrEnum):
    """How a passage is meant to look."""

    SHARP = "sharp"
    SOFT = "soft"


@dataclass(frozen=True)
class Passage:
    """A movement inside a skill that is meant to look a certain way."""

    name: str
    skill: Skill
    limb: Limb
    intent: Intent


@dataclass(frozen=True)
class Routine:
    """Skills in order."""

    name: str
    skills: tuple[Skill, ...]
    passages: tuple[Passage, ...] = ()

    def passages_of(self, skill: Skill) -> tuple[Passage, ...]:
        """The passages inside one skill."""
        return tuple(p for p in self.passages if p.skill is skill)


@dataclass(frozen=True)
class LineUp:
    """Found skills beside a routine's. Places count from 0; every found skill is in exactly one of matched, extra and out_of_order."""

    routine: Routine
    matched: tuple[tuple[int, int], ...]  # (place in the routine, place among the found), in order
    missing: tuple[int, ...]  # places in the routine that nothing found belongs to
    extra: tuple[int, ...]  # places among the found that belong nowhere
    out_of_order: tuple[tuple[int, int], ...]  # (place in the routine, place among the found): done, but not where it belongs

    @property
    def complete(self) -> bool:
        """Whether exactly the routine was done."""
        return not (self.missing or self.extra or self.out_of_order)

    @property
    def share(self) -> float:
        """How well it fits, 0..1: twice what matches in order over all that is in the routine and all that was found."""
        found = len(self.matched) + len(self.extra) + len(self.out_of_order)
        total = len(self.routine.skills) + found
        return 2 * len(self.matched) / total if total else 1.0


def line_up(routine: Routine, found: Sequence[Skill]) -> LineUp:
    """What of a routine was found in order, what is missing, what is extra, and what came out of order.

    Method: a longest common subsequence; where several are as long, the one that matches earlier skills of the routine first.

    >>> r = Routine("R", (Skill.LUNGE, Skill.CARTWHEEL, Skill.BACKWARD_ROLL))
    >>> up = line_up(r, [Skill.LUNGE, Skill.SHOULDER_STAND, Skill.BACKWARD_ROLL])
    >>> up.matched, up.missing, up.extra
    (((0, 0), (2, 2)), (1,), (1,))
    """
    wanted = routine.skills
    best = [[0] * (len(found) + 1) for _ in range(len(wanted) + 1)]
    for i in range(len(wanted) - 1, -1, -1):
        for j in range(len(found) - 1, -1, -1):
            best[i][j] = best[i + 1][j + 1] + 1 if wanted[i] == found[j] else max(best[i + 1][j], best[i][j + 1])
    matched, i, j = [], 0, 0
    while i < len(wanted) and j < len(found):
        if wanted[i] == found[j]:
            matched.append((i, j))
            i, j = i + 1, j + 1
        elif best[i][j + 1] >= best[i + 1][j]:
            j += 1
        else:
            i += 1
    missing = [i for i in range(len(wanted)) if i not in {m[0] for m in matched}]
    extra = [j for j in range(len(found)) if j not in {m[1] for m in matched}]
    moved = []
    for i in list(missing):
        same = [j for j in extra if found[j] == wanted[i]]
        if same:
            moved.append((i, same[0]))
            missing.remove(i)
            extra.remove(same[0])
    return LineUp(routine, tuple(matched), tuple(missing), tuple(extra), tuple(moved))


def best_line_up(routines: Sequence[Routine], found: Sequence[Skill]) -> LineUp | None:
    """The line-up with the routine that fits best, the first of equals; None where there is no routine or less than half fits."""
    ups = [line_up(r, found) for r in routines]
    best = max(ups, key=lambda up: up.share, default=None)
    return best if best is not None and best.share >= 0.5 else None


def in_words(up: LineUp, found: Sequence[Skill]) -> tuple[str, ...]:
    """One plain sentence for each kind of difference; empty where the routine was done as written.

    >>> r = Routine("R", (Skill.LUNGE, Skill.CARTWHEEL))
    >>> in_words(line_up(r, [Skill.CARTWHEEL]), [Skill.CARTWHEEL])
    ('Missing: lunge.',)
    """
    wanted = up.routine.skills
    out = []
    if up.missing:
        out.append(f"Missing: {_listed([wanted[i] for i in up.missing])}.")
    if up.extra:
        out.append(f"Not part of it: {_listed([found[j] for j in up.extra])}.")
    if up.out_of_order:
        out.append(f"Out of order: {_listed([wanted[i] for i, _ in up.out_of_order])}.")
    return tuple(out)


def _listed(skills: Sequence[Skill]) -> str:
    """Names with how often, where more than once: "lunge, cartwheel (2 times)"."""
    return ", ".join(s.value.replace("_", " ") + (f" ({n} times)" if n > 1 else "") for s, n in Counter(skills).items())


def load_routines(path: Path | None = None) -> tuple[Routine, ...]:
    """The routines of a file, or the shipped ones. Raises WrongRoutines with one line."""
    path = path or shipped_config(SHIPPED)
    try:
        data = toml(written_text(path))
    except UnicodeDecodeError as error:
        raise WrongRoutines(f"{path}: expected UTF-8 text, but byte {error.start} is not. Save it again as UTF-8.") from error
    except tomllib.TOMLDecodeError as error:
        raise WrongRoutines(f'{path}: not readable as TOML: {error}. A line looks like  skills = ["lunge", "cartwheel"]') from error
    except OSError as error:
        raise WrongRoutines(f"{path}: cannot be read ({error.strerror}). Copy configs/routines.toml and change it.") from error
    for key in data:
        if key != "routine":
            raise WrongRoutines(f"{path}: expected [[routine]] entries, but there is {shown(key)}. Write it inside a [[routine]].")
    entries = data.get("routine", [])
    if not isinstance(entries, list) or not entries:
        raise WrongRoutines(f"{path}: expected at least one [[routine]], with two pairs of brackets.")
    routines = tuple(_routine(f"{path}, routine {n}", entry) for n, entry in enumerate(entries, start=1))
    twice = [name for name, n in Counter(r.name for r in routines).items() if n > 1]
    if twice:
        raise WrongRoutines(f"{path}: two routines are called {shown(twice[0])}. Give each a name of its own.")
    return routines


def _routine(where: str, entry: Mapping[str, object]) -> Routine:
    _known_keys(where, entry, ROUTINE_KEYS)
    name = _text(where, entry, "name")
    where = f"{where} ({name})"
    skills = entry.get("skills")
    if not isinstance(skills, list) or not skills:
        raise WrongRoutines(f'{where}, skills: expected a list such as ["lunge", "cartwheel"], but got {shown(skills)}.')
    passages = entry.get("passage", [])
    if not isinstance(passages, list):
        raise WrongRoutines(f"{where}, passage: expected [[routine.passage]] entries, with two pairs of brackets.")
    known = tuple(_one_of(f"{where}, skills", s, Skill) for s in skills)
    read = tuple(_passage(f"{where}, passage {n}", p, known) for n, p in enumerate(passages, start=1))
    return Routine(name, known, read)


def _passage(where: str, entry: Mapping[str, object], skills: Sequence[Skill]) -> Passage:
    _known_keys(where, entry, PASSAGE_KEYS)
    name = _text(where, entry, "name")
    skill = _one_of(f"{where}, skill", entry.get("skill"), Skill)
    if skill not in skills:
        raise WrongRoutines(f"{where}, skill: {skill.value} is not among the routine's skills ({', '.join(skills)}).")
    return Passage(
        name, skill, _one_of(f"{where}, limb", entry.get("limb"), Limb), _one_of(f"{where}, intent", entry.get("intent"), Intent)
    )


def _known_keys(where: str, entry: object, keys: Sequence[str]) -> None:
    if not isinstance(entry, Mapping):
        raise WrongRoutines(f"{where}: expected a table with {', '.join(keys)}, but got {shown(entry)}.")
    for key in entry:
        if key not in keys:
            raise WrongRoutines(f"{where}, {key}: expected one of {', '.join(keys)}.")


def _text(where: str, entry: Mapping[str, object], key: str) -> str:
    value = entry.get(key)
    if not isinstance(value, str) or not 0 < len(value.strip()) <= LONGEST_NAME or not value.isprintable():
        raise WrongRoutines(
            f"{where}, {key}: expected a name in quotes of at most {LONGEST_NAME} letters on one line, but got {shown(value)}."
        )
    return value.strip()


def _one_of(where: str, value: object, words: type[E]) -> E:
    if not isinstance(value, str) or value not in [w.value for w in words]:
        raise WrongRoutines(f"{where}: expected one of {', '.join(w.value for w in words)}, but got {shown(value)}.")
    return words(value)
