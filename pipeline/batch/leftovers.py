"""Half-written files that a run leaves when it is killed: they never bear a final name, and go when the next run begins to measure."""

from __future__ import annotations

import re
from pathlib import Path

PART = re.compile(r"\..+\.part(\.mp4)?$")
FOLDERS = (".", "athletes", "weeks", "trends", "cohorts", "points", "data", "data/landmarks", "data/pictures", "data/sheets")


def remove_parts(out: Path) -> int:
    """Remove them below an output folder; how many. Only for whoever holds the folder's lock: another run's would be in use."""
    removed = 0
    for folder in FOLDERS:
        for path in (out / folder).glob(".*"):
            if PART.fullmatch(path.name) and path.is_file():
                path.unlink(missing_ok=True)
                removed += 1
    return removed
