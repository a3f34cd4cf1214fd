"""The plan of a points round: read from commented TOML, checked once. The format is explained in configs/points.toml."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from pipeline.clips.roster import CODE
from pipeline.config_files import shipped_config, toml
from pipeline.errors import MatsideError, shown
from pipeline.files import written_text
from pipeline.scoring.toml_lines import line_of
from pipeline.vocabulary import DETAIL, Skill, Verdict

SHIPPED = "points.toml"
GIVING = (Verdict.MET, Verdict.CLOSE, Verdict.NOT_YET)  # the verdicts that may give points; "cannot tell" never does
MOST_POINTS, MOST_TEAMS, MOST_ROUNDS, LONGEST_NAME = 9, 8, 6, 40
KEYS = ("name", "points", "teams", "rounds", "last_round")
TEAM_KEYS = ("names", "cohorts", "seed", "uneven", "members")


class WrongPlan(MatsideError):
    """A plan that cannot be played: the line names file, line, key, what was expected and what came."""


class Uneven(StrEnum):
    """What makes teams of different sizes equal."""

    PER_MEMBER = "mean per member"
    BEST = "best of each"
    PER_VERDICT = "mean per verdict"


@dataclass(frozen=True)
class Round:
    """One round: for each skill named, one go a member, scored on these details."""

    name: str
    details: tuple[tuple[str, str], ...]  # (skill, detail) in the file's order
    last: bool = False

    @property
    def skills(self) -> tuple[str, ...]:
        """The skills of the round, each once."""
        return tuple(dict.fromkeys(skill for skill, _detail in self.details))


@dataclass(frozen=True)
class Plan:
    """Everything that the rules of a points round say."""

    name: str
    points: Mapping[Verdict, int]
    own_points: Mapping[tuple[str, str], Mapping[Verdict, int]]  # of single details, complete
    rounds: tuple[Round, ...]
    uneven: Uneven
    names: tuple[str, ...] = ()  # of teams that are drawn
    cohorts: tuple[str, ...] = ()
    seed: int = 1
    members: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # the coach's own teams; then nothing is drawn
    source: str = ""

    def worth(self, skill: str, detail: str) -> Mapping[Verdict, int]:
        """The points of one detail's verdicts; "cannot tell" is not among them."""
        return self.own_points.get((skill, detail), self.points)

    def most(self, one: Round) -> int:
        """The most points a member can get in a round."""
        return sum(max(self.worth(*key).values()) for key in one.details)


def load_plan(path: Path | None = None) -> Plan:
    """The plan in a file, or the shipped one. Raises WrongPlan with one line."""
    path = path or shipped_config(SHIPPED)
    try:
        text = written_text(path)
        data = toml(text)
    except UnicodeDecodeError as error:
        raise WrongPlan(f"{path}: expected UTF-8 text, but byte {error.start} is not. Save it again as UTF-8.") from error
    except tomllib.TOMLDecodeError as error:
        raise WrongPlan(f'{path}: not readable as TOML: {error}. A line looks like  lunge = ["line_deviation"]') from error
    except OSError as error:
        raise WrongPlan(f"{path}: cannot be read ({error.strerror}). Copy configs/points.toml and change it.") from error
    return _Reader(path, text, data).plan()


class _Reader:
    def __init__(self, path: Path, text: str, data: dict[str, object]) -> None:
        self.path, self.text, self.data = path, text, data

    def wrong(self, keys: Sequence[str], message: str) -> WrongPlan:
        return WrongPlan(f"{self.path}, line {line_of(self.text, tuple(keys))}, {'.'.join(keys)}: {message}")

    def plan(self) -> Plan:
        for key in self.data:
            if key not in KEYS:
                raise self.wrong((key,), f"expected one of {', '.join(KEYS)}.")
        points, own = self._points()
        rounds = self._rounds()
        teams = self._table(("teams",), self.data.get("teams", {}))
        for key in teams:
            if key not in TEAM_KEYS:
                raise self.wrong(("teams", key), f"expected one of {', '.join(TEAM_KEYS)}.")
        members = self._members(teams.get("members", {}))
        names = self._words(("teams", "names"), teams.get("names", []))
        if not members and not 2 <= len(names) <= MOST_TEAMS:
            raise self.wrong(("teams", "names"), f"expected 2 to {MOST_TEAMS} team names, but got {len(names)}.")
        return Plan(
            name=self._word(("name",), self.data.get("name", "Points round")), points=points, own_points=own, rounds=rounds,
            uneven=self._uneven(teams.get("uneven", Uneven.PER_MEMBER.value)), names=names,
            cohorts=self._words(("teams", "cohorts"), teams.get("cohorts", [])), seed=self._whole(("teams", "seed"), teams.get("seed", 1), 2**31 - 1),
            members=members, source=self.path.name,
        )  # fmt: skip

    def _points(self) -> tuple[dict[Verdict, int], dict[tuple[str, str], dict[Verdict, int]]]:
        table = self._table(("points",), self.data.get("points", {}))
        general = self._worth(("points",), {k: v for k, v in table.items() if not isinstance(v, dict)}, {})
        missing = [v for v in GIVING if v not in general]
        if missing:
            raise self.wrong(("points",), f"expected points for met, close and not yet, but {', '.join(missing)} is missing.")
        own = {}
        for skill, entry in table.items():
            if isinstance(entry, dict):
                for detail, worth in entry.items():
                    key = self._known(("points", skill, detail), skill, detail)
                    own[key] = self._worth(("points", skill, detail), self._table(("points", skill, detail), worth), general)
        return general, own

    def _worth(self, keys: Sequence[str], table: Mapping[str, object], below: Mapping[Verdict, int]) -> dict[Verdict, int]:
        out = dict(below)
        for word, value in table.items():
            if word == Verdict.CANNOT_TELL:
                raise self.wrong((*keys, word), "gives no points and takes none, so it has no entry. Take the line out.")
            if word not in GIVING:
                raise self.wrong((*keys, word), f"expected {', '.join(GIVING)}, or a skill.")
            out[Verdict(word)] = self._whole((*keys, word), value, MOST_POINTS)
        return out

    def _rounds(self) -> tuple[Round, ...]:
        out = []
        for key, last in (("rounds", False), ("last_round", True)):
            table = self._table((key,), self.data.get(key, {}))
            if last and len(table) > 1:
                raise self.wrong((key,), f"expected one last round, but got {len(table)}.")
            for name, entry in table.items():
                skills = self._table((key, name), entry)
                details = [
                    self._known((key, name, skill), skill, one)
                    for skill, given in skills.items()
                    for one in self._details((key, name, skill), given, last)
                ]
                if not details:
                    raise self.wrong((key, name), 'expected at least one skill, such as  lunge = ["line_deviation"]')
                if len(set(details)) < len(details):
                    raise self.wrong((key, name), "expected each detail once in a round.")
                out.append(Round(self._word((key, name), name), tuple(details), last))
        if not 1 <= len(out) <= MOST_ROUNDS:
            raise self.wrong(("rounds",), f"expected 1 to {MOST_ROUNDS} rounds with the last one, but got {len(out)}.")
        names = [one.name for one in out]
        if len(set(names)) < len(names):
            raise self.wrong(("last_round", names[-1]), "expected another name than an earlier round's.")
        return tuple(out)

    def _details(self, keys: Sequence[str], given: object, last: bool) -> Sequence[str]:
        if last:
            if not isinstance(given, str):
                raise self.wrong(
                    keys, f'expected one detail in quotes in the last round, but got {shown(given)}. Write  {keys[-1]} = "hip_angle"'
                )
            return [given]
        if not isinstance(given, list) or not all(isinstance(one, str) for one in given):
            raise self.wrong(keys, f'expected a list of details, but got {shown(given)}. Write  {keys[-1]} = ["hip_angle"]')
        return given

    def _known(self, keys: Sequence[str], skill: str, detail: str) -> tuple[str, str]:
        if skill not in set(Skill):
            raise self.wrong(keys, f"expected a skill ({', '.join(Skill)}), but got {shown(skill)}.")
        if (Skill(skill), detail) not in DETAIL:
            known = ", ".join(one for of, one in DETAIL if of == skill)
            raise self.wrong(keys, f"expected a detail of {skill} ({known}), but got {shown(detail)}.")
        return skill, detail

    def _members(self, given: object) -> dict[str, tuple[str, ...]]:
        out: dict[str, tuple[str, ...]] = {}
        seen: dict[str, str] = {}
        for name, codes in self._table(("teams", "members"), given).items():
            keys = ("teams", "members", name)
            out[self._word(keys, name)] = self._words(keys, codes)
            if not out[name]:
                raise self.wrong(keys, "expected at least one athlete's code.")
            for code in out[name]:
                if not re.fullmatch(CODE, code):
                    raise self.wrong(keys, f"expected athletes' codes such as OT-01, but got {shown(code)}.")
                if code.upper() in seen:
                    raise self.wrong(keys, f"{code} is in {seen[code.upper()]} already; everybody plays in one team.")
                seen[code.upper()] = name
        if out and not 2 <= len(out) <= MOST_TEAMS:
            raise self.wrong(("teams", "members"), f"expected 2 to {MOST_TEAMS} teams, but got {len(out)}.")
        return out

    def _uneven(self, given: object) -> Uneven:
        if given not in set(Uneven):
            raise self.wrong(("teams", "uneven"), f"expected {', '.join(repr(str(u)) for u in Uneven)}, but got {shown(given)}.")
        return Uneven(str(given))

    def _table(self, keys: Sequence[str], given: object) -> dict[str, object]:
        if not isinstance(given, dict):
            raise self.wrong(keys, f"expected a table [{'.'.join(keys)}], but got {shown(given)}.")
        return given

    def _whole(self, keys: Sequence[str], given: object, most: int) -> int:
        if isinstance(given, bool) or not isinstance(given, int) or not 0 <= given <= most:
            raise self.wrong(keys, f"expected a whole number from 0 to {most}, but got {shown(given)}.")
        return given

    def _word(self, keys: Sequence[str], given: object) -> str:
        if not isinstance(given, str) or not 0 < len(given.strip()) <= LONGEST_NAME or not given.isprintable():
            raise self.wrong(keys, f"expected a name of 1 to {LONGEST_NAME} letters, but got {shown(given)}.")
        return given

    def _words(self, keys: Sequence[str], given: object) -> tuple[str, ...]:
        if not isinstance(given, list):
            raise self.wrong(keys, f'expected a list of words, such as ["Seals", "Terns"], but got {shown(given)}.')
        words = tuple(self._word(keys, one) for one in given)
        if len(set(words)) < len(words):
            raise self.wrong(keys, "expected each word once.")
        return words
