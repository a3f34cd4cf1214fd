"""Where the shipped configuration files lie: beside the package in a checkout, inside it in an installed wheel."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pipeline.errors import MatsideError

_PACKAGE = Path(__file__).resolve().parent


def toml(text: str) -> dict[str, Any]:
    """What a TOML text says. Raises tomllib.TOMLDecodeError, also where Python's reader would end in another way."""
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise tomllib.TOMLDecodeError("brackets within brackets, too deep to be meant") from error
    except tomllib.TOMLDecodeError:
        raise
    except ValueError as error:
        raise tomllib.TOMLDecodeError("a number of very many digits") from error


def shipped_config(name: str) -> Path:
    """The path of a file of `configs/`, for instance "tolerances_beginners.toml"; MatsideError if it is not there."""
    for folder in (_PACKAGE / "_configs", _PACKAGE.parent / "configs"):  # the wheel's copy, the checkout's own
        if (folder / name).is_file():
            return folder / name
    raise MatsideError(f"{name}: expected among the files that come with Matside, but it is not there. Install Matside again.")


def shipped_configs(pattern: str) -> list[Path]:
    """The shipped files whose names match, ordered by name."""
    for folder in (_PACKAGE / "_configs", _PACKAGE.parent / "configs"):
        if folder.is_dir():
            return sorted(folder.glob(pattern))
    return []
