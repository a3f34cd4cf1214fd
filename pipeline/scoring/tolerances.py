"""What counts as met, for each detail: read from commented TOML, checked once, a coach's own file laid over a shipped one.

The format is explained at the top of configs/tolerances_beginners.toml.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from pipeline.config_files import shipped_config, shipped_configs, toml
from pipeline.errors import MatsideError, shown
from pipeline.files import written_text
from pipeline.scoring.toml_lines import line_of
from pipeline.vocabulary import DETAIL, Setting, Skill

DEFAULT_PROFILE = "beginners"
NEEDED = ("target", "kind", "met_within", "close_within")
KEYS = (*NEEDED, "asked_in")
PROFILE_KEYS = ("name", "source", "over")
EVERYWHERE = "everywhere"  # of asked_in: what an entry says that takes back a profile's
LARGEST = 1e9  # of any number here; no detail has a value anywhere near it
OWN = "own"  # in place of a kind: no value is right for everybody, so the detail has no tolerance and gets no verdict


class WrongTolerances(MatsideError):
    """A tolerances file that cannot be used: the line names file, line, key, what was expected and what came."""


class Kind(StrEnum):
    """Which side of the target counts against the athlete."""

    BOTH = "both sides"
    AT_LEAST = "at least"
    AT_MOST = "at most"


@dataclass(frozen=True)
class Tolerance:
    """What counts as met and as close for one detail, in the detail's own unit."""

    kind: Kind
    target: float
    met_within: float
    close_within: float
    asked_in: str = ""  # a Setting where only there the detail is asked for, and elsewhere shown without a verdict; empty: everywhere
    source: str = ""  # the profile or file that had the last word

    def asks(self, setting: str) -> bool:
        """Whether the detail is asked for in an attempt of this setting; one whose setting is not known is asked."""
        return not self.asked_in or setting not in set(Setting) or setting == self.asked_in

    def band(self, within: float) -> tuple[float, float]:
        """Lowest and highest value up to `within` from the target; infinite on a side that does not count."""
        low = -math.inf if self.kind is Kind.AT_MOST else self.target - within
        high = math.inf if self.kind is Kind.AT_LEAST else self.target + within
        return low, high

    @property
    def met(self) -> tuple[float, float]:
        """Values that are met, both ends included."""
        return self.band(self.met_within)

    @property
    def close(self) -> tuple[float, float]:
        """Values that are met or close, both ends included."""
        return self.band(self.close_within)


@dataclass(frozen=True)
class Tolerances(Mapping[tuple[str, str], Tolerance]):
    """All tolerances in force, by (skill, detail). Details compared only with the athlete's own are in `own`, not among the entries."""

    name: str
    source: str
    entries: dict[tuple[str, str], Tolerance]
    own: frozenset[tuple[str, str]] = frozenset()

    def __getitem__(self, key: tuple[str, str]) -> Tolerance:
        return self.entries[key]

    def __iter__(self) -> Iterator[tuple[str, str]]:
        return iter(self.entries)

    def __len__(self) -> int:
        return len(self.entries)


def profiles() -> list[str]:
    """Names of the shipped profiles."""
    return [path.stem.removeprefix("tolerances_") for path in shipped_configs("tolerances_*.toml")]


def load_tolerances(*profiles_or_files: str | Path) -> Tolerances:
    """The tolerances in force: each given profile name or file lies over those before it.

    Nothing given means the beginners' profile. A file lies over the profile its `[profile] over` names (beginners if it
    names none) unless something was given before it. Raises WrongTolerances.
    """
    layers = [_read(one) for one in profiles_or_files] or [_read(DEFAULT_PROFILE)]
    if not layers[0].complete:
        layers.insert(0, _read(layers[0].over))
    entries: dict[tuple[str, str], Tolerance] = {}
    own: set[tuple[str, str]] = set()
    for layer in layers:
        for key, given in layer.given.items():
            if given.get("kind") == OWN:
                entries.pop(key, None)
                own.add(key)
            else:
                entries[key] = _laid_over(entries.get(key), given, layer, key)
                own.discard(key)
    return Tolerances(layers[-1].name, "; ".join(dict.fromkeys(layer.source for layer in layers)), entries, frozenset(own))


@dataclass(frozen=True)
class _Layer:
    """One file, its keys and types checked, not yet laid over anything."""

    path: Path
    text: str
    name: str
    source: str
    over: str
    given: dict[tuple[str, str], dict[str, float | str]]
    complete: bool  # a shipped profile needs nothing below it


def _wrong(path: Path, text: str, keys: tuple[str, ...], message: str) -> WrongTolerances:
    return WrongTolerances(f"{path}, line {line_of(text, keys)}, {'.'.join(keys)}: {message}")


def _choice(words: Mapping[str, object] | list[str] | tuple[str, ...]) -> str:
    return ", ".join(f'"{word}"' for word in words)


def _read(one: str | Path) -> _Layer:
    name = str(one)
    shipped = not isinstance(one, Path) and name in profiles()
    path = shipped_config(f"tolerances_{name}.toml") if shipped else Path(one)
    if not path.is_file():
        raise WrongTolerances(
            f"{name}: expected a tolerances file or one of the shipped profiles ({', '.join(profiles())}), but found neither. "
            "Check the spelling, or copy a shipped profile and change it."
        )
    try:
        text = written_text(path)
        data = toml(text)
    except UnicodeDecodeError as error:
        raise WrongTolerances(f"{path}: expected UTF-8 text, but byte {error.start} is not. Save it again as UTF-8.") from error
    except tomllib.TOMLDecodeError as error:
        raise WrongTolerances(f"{path}: not readable as TOML: {error}. An entry looks like  met_within = 15") from error
    except OSError as error:
        raise WrongTolerances(f"{path}: cannot be read ({error.strerror}). Check the file's rights.") from error
    profile = _profile(path, text, data.pop("profile", {}))
    given = _entries(path, text, data)
    return _Layer(
        path,
        text,
        profile["name"] or path.stem,
        profile["source"] or f"set in {path.name}",
        profile["over"] or DEFAULT_PROFILE,
        given,
        shipped,
    )


def _profile(path: Path, text: str, table: object) -> dict[str, str]:
    if not isinstance(table, dict):
        raise _wrong(path, text, ("profile",), f"expected a table [profile] with {_choice(PROFILE_KEYS)}, but got {shown(table)}.")
    for key, value in table.items():
        if key not in PROFILE_KEYS:
            raise _wrong(path, text, ("profile", key), f"expected one of {_choice(PROFILE_KEYS)}.")
        if not isinstance(value, str):
            raise _wrong(path, text, ("profile", key), f'expected words in quotes, but got {shown(value)}. Write  {key} = "..."')
    if "over" in table and table["over"] not in profiles():
        raise _wrong(
            path, text, ("profile", "over"), f"expected a shipped profile ({_choice(profiles())}), but got {shown(table['over'])}."
        )
    return {key: table.get(key, "") for key in PROFILE_KEYS}


def _entries(path: Path, text: str, data: dict[str, object]) -> dict[tuple[str, str], dict[str, float | str]]:
    given: dict[tuple[str, str], dict[str, float | str]] = {}
    for skill, details in data.items():
        if skill not in set(Skill) or not isinstance(details, dict):
            raise _wrong(path, text, (skill,), f"expected a skill ({_choice([*Skill])}) or profile. Write an entry as [skill.detail].")
        known = [detail for of, detail in DETAIL if of == skill]
        for detail, entry in details.items():
            if detail not in known or not isinstance(entry, dict):
                raise _wrong(
                    path, text, (skill, detail), f"expected a detail of {skill} ({_choice(known)}). Write an entry as [{skill}.{known[0]}]."
                )
            given[skill, detail] = {key: _value(path, text, (skill, detail, key), value) for key, value in entry.items()}
            if entry.get("kind") == OWN and len(entry) > 1:
                number = next(key for key in entry if key != "kind")
                raise _wrong(
                    path,
                    text,
                    (skill, detail, number),
                    f'expected no {number} beside  kind = "own": what is compared with the athlete\'s own has no target.',
                )
    return given


def _value(path: Path, text: str, keys: tuple[str, ...], value: object) -> float | str:
    key = keys[-1]
    if key not in KEYS:
        raise _wrong(path, text, keys, f"expected one of {_choice(KEYS)}.")
    if key == "kind":
        if value not in [*Kind, OWN]:
            raise _wrong(path, text, keys, f"expected {_choice([*Kind, OWN])}, but got {shown(value)}.")
        return OWN if value == OWN else Kind(str(value))
    if key == "asked_in":
        if value not in [*Setting, EVERYWHERE]:
            raise _wrong(path, text, keys, f"expected {_choice([*Setting, EVERYWHERE])}, but got {shown(value)}.")
        return "" if value == EVERYWHERE else str(value)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < LARGEST:
        raise _wrong(path, text, keys, f"expected a number, but got {shown(value)}. Write  {key} = 15  without quotes or unit.")
    if key != "target" and value < 0:
        raise _wrong(path, text, keys, f"expected 0 or more, but got {shown(value)}.")
    return float(value)


def _laid_over(below: Tolerance | None, given: dict[str, float | str], layer: _Layer, key: tuple[str, str]) -> Tolerance:
    """One entry after a layer; what the layer leaves out stays as it was below."""
    if below is None:
        missing = [name for name in NEEDED if name not in given]
        if missing:
            raise _wrong(
                layer.path, layer.text, key, f"expected {_choice(NEEDED)}, but {_choice(missing)} is missing and no profile below gives it."
            )
        below = Tolerance(Kind.BOTH, 0.0, 0.0, 0.0)
    merged = replace(below, **given, source=layer.name)  # type: ignore[arg-type]
    if merged.met_within > merged.close_within:
        which = "close_within" if "close_within" in given else "met_within"
        raise _wrong(
            layer.path, layer.text, (*key, which),
            f"expected met_within to be at most close_within, but met_within is {merged.met_within:g} and close_within is {merged.close_within:g}. "
            "Close reaches further from the target than met.",
        )  # fmt: skip
    return merged
