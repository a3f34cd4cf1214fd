"""Where the shipped configuration files lie: beside the package in a checkout, inside it in an installed wheel."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import MatsideError

_PACKAGE = Path(__file__).resolve().parent


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
