"""Settings from commented TOML: what a file does not say keeps its default; what it says wrongly is named with its line."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from pipeline.batch.pool import Limits
from pipeline.config_files import shipped_config, toml
from pipeline.errors import MatsideError, shown
from pipeline.files import written_text
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.scoring.toml_lines import line_of


class NightSettings(BaseModel):
    """How a folder is worked through. None of these changes a reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    workers: int = Field(0, ge=0, le=256, description="Worker processes; 0 is one per core.")
    limit_s: float = Field(180.0, gt=0, description="A clip may take so many seconds,")
    limit_per_second: float = Field(60.0, gt=0, description="and so many more for each of its own seconds, before it is given up.")
    silence_s: float = Field(180.0, gt=0, description="A worker that tells of no progress for so many seconds hangs.")
    memory_mb: int = Field(2000, ge=300, description="A worker that needs more memory is stopped, and its clip is given up.")
    retries: int = Field(1, ge=0, le=5, description="How often a clip is tried again after a crash, a hang or too much memory.")
    contact_sheets: bool = Field(
        True, description="Show clips nobody has assigned by three blurred frames each, so that the coach can tell whose they are."
    )
    keep_days: int = Field(0, ge=0, description="Results of clips older than so many days are forgotten when a run starts; 0 keeps them.")

    def limits(self) -> Limits:
        """When a clip is given up."""
        return Limits(self.limit_s, self.limit_per_second, self.silence_s, self.memory_mb, self.retries)


class Settings(BaseModel):
    """All settings of a run."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    landmarks: LandmarkSettings = LandmarkSettings()
    night: NightSettings = NightSettings()


def load_settings(path: Path | None = None) -> Settings:
    """Settings from `path`, or those in configs/settings.toml. Raises MatsideError naming file, line, key, what was expected and what came."""
    path = path or shipped_config("settings.toml")
    try:
        text = written_text(path)
        return Settings.model_validate(toml(text))
    except OSError as error:
        raise MatsideError(f"{path}: the settings cannot be read ({error.strerror}).") from error
    except UnicodeDecodeError as error:
        raise MatsideError(f"{path}: the settings should be a text file in UTF-8 ({error.reason} at byte {error.start}).") from error
    except tomllib.TOMLDecodeError as error:
        raise MatsideError(f"{path}: not valid TOML: {error}.") from error
    except ValidationError as error:
        raise MatsideError("\n".join(_wrong(path, text, one) for one in error.errors())) from error


def _wrong(path: Path, text: str, error: ErrorDetails) -> str:
    keys = tuple(str(part) for part in error["loc"])
    where = f"{path}, line {line_of(text, keys)}"
    if error["type"] == "extra_forbidden":
        allowed = Settings.model_fields if len(keys) == 1 else type(getattr(Settings(), keys[0])).model_fields
        return f"{where}: no setting {'.'.join(keys)}; expected one of {', '.join(allowed)}."
    table = f"should be a table: [{keys[0]}] on a line of its own, its settings below it"
    message = table if error["type"] == "model_type" else error["msg"].replace("Input should", "should")
    return f"{where}: {'.'.join(keys)} {message}, but is {shown(error['input'])}."
