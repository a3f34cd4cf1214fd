"""How a rotation runs: configs/practice.toml, or a coach's own copy of it, checked once."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pipeline.config_files import shipped_config, toml
from pipeline.errors import MatsideError, shown
from pipeline.files import written_text
from pipeline.scoring.toml_lines import line_of
from pipeline.store import Store
from pipeline.vocabulary import Skill

KEPT = "practice"  # the store's fact with the settings a coach has asked for


class PracticeSettings(BaseModel):
    """One rotation. Minutes are whole."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    minutes: int = Field(20, ge=1, le=240)
    warm_up: int = Field(3, ge=0, le=240)
    close: int = Field(2, ge=0, le=240)
    stations: int = Field(3, ge=1, le=4)
    shortest_station: int = Field(3, ge=1, le=240)
    spotters: int = Field(2, ge=1, le=20)
    needs_spotter: tuple[Skill, ...] = (Skill.CARTWHEEL, Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND)
    tries: int = Field(3, ge=1, le=4)
    paper: Literal["a4", "letter"] = "a4"


def load_practice(path: Path | None = None, **changes: object) -> PracticeSettings:
    """Settings from `path`, or those in configs/practice.toml, with `changes` over them where they are not None.

    Raises MatsideError naming file, line, key, what was expected and what came.
    """
    path = path or shipped_config("practice.toml")
    try:
        text = written_text(path)
        given = toml(text)
    except OSError as error:
        raise MatsideError(f"{path}: the practice settings cannot be read ({error.strerror}).") from error
    except UnicodeDecodeError as error:
        raise MatsideError(f"{path}: expected a text file in UTF-8 ({error.reason} at byte {error.start}).") from error
    except tomllib.TOMLDecodeError as error:
        raise MatsideError(f"{path}: not valid TOML: {error}. An entry looks like  minutes = 20") from error
    return changed(_checked(given, path, text), **changes)


def changed(settings: PracticeSettings, **changes: object) -> PracticeSettings:
    """The settings with what is not None changed. Raises MatsideError."""
    return _checked({**settings.model_dump(), **{key: value for key, value in changes.items() if value is not None}})


def _checked(given: dict[str, object], path: Path | None = None, text: str = "") -> PracticeSettings:
    try:
        return PracticeSettings.model_validate(given)
    except ValidationError as error:
        said = []
        for one in error.errors():
            key = str(one["loc"][0])
            where = f"{path}, line {line_of(text, (key,))}, {key}" if path else key
            expected = f"no such setting; expected one of {', '.join(PracticeSettings.model_fields)}"
            message = expected if one["type"] == "extra_forbidden" else one["msg"].replace("Input should", "should")
            said.append(f"{where}: {message}, but came {shown(one['input'])}.")
        raise MatsideError("\n".join(said)) from error


def kept_settings(store: Store) -> PracticeSettings:
    """The settings a coach has asked for before, else the shipped ones."""
    kept = store.fact(KEPT)
    try:
        return PracticeSettings.model_validate_json(kept) if kept else load_practice()
    except ValidationError:  # kept by a Matside with other settings
        return load_practice()


def keep_settings(store: Store, settings: PracticeSettings) -> None:
    """Use these settings for the runs that follow."""
    store.set_fact(KEPT, settings.model_dump_json())
