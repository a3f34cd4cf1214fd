"""Files that are whole or not there, and cells that a spreadsheet will not run. Imports nothing of ours."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")  # OWASP, "CSV Injection": cells beginning so may be run by a spreadsheet


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that a power cut leaves the old one or the new one, never half of either."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with open(part, "wb") as file:
            file.write(content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def safe_cell(value: object) -> object:
    """Text that a spreadsheet would take for a formula gets an apostrophe in front; numbers stay numbers.

    >>> safe_cell("=1+1"), safe_cell("OT-01"), safe_cell(-3.5)
    ("'=1+1", 'OT-01', -3.5)
    """
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA_STARTS) else value


def plain_cell(value: str) -> str:
    """The text as it was before `safe_cell`.

    >>> plain_cell("'=1+1"), plain_cell("'tis")
    ('=1+1', "'tis")
    """
    return value[1:] if value.startswith("'") and value[1:].startswith(FORMULA_STARTS) else value


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV text with a header, every cell safe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([safe_cell(cell) for cell in row] for row in rows)
    return out.getvalue()
