"""The tolerances in force: those asked for now, else those that a run or `matside report` was last given for this folder."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from pipeline.errors import MatsideError
from pipeline.files import write_whole
from pipeline.scoring.tolerances import DEFAULT_PROFILE, Tolerances, load_tolerances, profiles

KEPT = "tolerances.json"  # below the data folder: names of shipped profiles and full paths of own files, in their order


def load_profile(given: Sequence[str | Path], out: Path | None = None) -> Tolerances:
    """Profile names or files, each laid over those before it; nothing given means what is kept for `out`, else the beginners' profile.

    A kept file is read anew each time, so that what was changed in it counts. Raises MatsideError.
    """
    kept = [] if given or out is None else _kept(out)
    try:
        return load_tolerances(*(given or kept))
    except MatsideError as error:
        if not kept:
            raise
        raise MatsideError(
            f"{error} It was kept from an earlier run; --tolerances {DEFAULT_PROFILE} goes back to what comes with Matside."
        ) from error


def keep_profile(given: Sequence[str | Path], out: Path) -> None:
    """Use these from now on wherever none are given; nothing given changes nothing. The data folder is there."""
    if given:
        names = [one if one in profiles() else str(Path(one).resolve()) for one in map(str, given)]
        write_whole(out / "data" / KEPT, json.dumps(names) + "\n")


def _kept(out: Path) -> list[str]:
    try:
        names = json.loads((out / "data" / KEPT).read_text("utf-8"))
    except (OSError, ValueError):  # nothing kept, or not whole
        return []
    return [str(one) for one in names] if isinstance(names, list) else []
