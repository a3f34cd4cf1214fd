"""Which score sheets are there, and which have to go. They stay from run to run: what was played is not drawn again."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from pipeline.erasing import mentions

FOLDER = "points"
BLANK = "blank"


def sheets(out: Path) -> list[str]:
    """Names of the sheets that are there, the latest first, the blank one last."""
    found = sorted((path.stem for path in (out / FOLDER).glob("*.html") if path.stem != BLANK), reverse=True)
    return found + [BLANK] * (out / FOLDER / f"{BLANK}.html").is_file()


def forget_sheets(out: Path, codes: Iterable[str] = (), *, before: str = "") -> list[str]:
    """Remove the sheets, with their tables, that name any of these athletes or are of a day before an ISO date; which they were.

    A round of several teams cannot be told without one of its members, so the whole sheet goes.
    """
    named = [mentions(code) for code in codes]
    files = sorted([*(out / FOLDER).glob("*.html"), *(out / FOLDER).glob("*.csv")])
    stems = {path.stem for path in files if any(one.search(path.read_text("utf-8", "replace")) for one in named)}
    stems |= {path.stem for path in files if before and path.stem != BLANK and path.stem[:10] < before}
    gone = [path for path in files if path.stem in stems]
    for path in gone:
        path.unlink(missing_ok=True)
    return [f"{FOLDER}/{path.name}" for path in gone]
