"""Files that are whole or not there, and cells that a spreadsheet will not run. Imports nothing of ours."""

from __future__ import annotations

import csv
import errno
import io
import os
import stat
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

MOST_TEXT, MOST_TABLE = 1_000_000, 50_000_000  # bytes: a hundred times what any club writes
NO_FILE = "a device or a pipe, not a file"
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")  # OWASP, "CSV Injection": cells beginning so may be run by a spreadsheet


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that a power cut leaves the old one or the new one, never half of either. Raises OSError, which names that file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with open(part, "wb") as file:
            file.write(content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except BaseException as error:
        with suppress(OSError):  # the first failure is the one to tell
            part.unlink(missing_ok=True)
        if isinstance(error, OSError) and str(error.filename) == str(part):
            error.filename = str(path)
        raise


def written_bytes(path: Path, *, most: int) -> bytes:
    """What somebody wrote into a file of at most so many bytes. Raises OSError, also for what may never end or is no such file."""
    found = path.stat()
    if not stat.S_ISREG(found.st_mode) and not stat.S_ISDIR(found.st_mode):
        raise OSError(errno.EINVAL, NO_FILE)
    if stat.S_ISREG(found.st_mode) and found.st_size > most:
        raise OSError(errno.EFBIG, f"{found.st_size / 1e6:.0f} MB are far too many, it may be another file")
    return path.read_bytes()


def written_text(path: Path) -> str:
    """The text of a file of settings, lines ended alike. Raises OSError as above, and UnicodeDecodeError."""
    return written_bytes(path, most=MOST_TEXT).decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")


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
