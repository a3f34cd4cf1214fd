"""The disk that a night writes to: room enough, writable, and one line where it is not."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import MatsideError

LEAST_FREE_BYTES = 200_000_000
MAY_NOT = (errno.EROFS, errno.EACCES, errno.EPERM)
IN_THE_WAY = (errno.EISDIR, errno.EEXIST, errno.ENOTDIR)


def need_room(data: Path) -> None:
    """Raise MatsideError where too little of the disk is free."""
    free = shutil.disk_usage(data).free
    if free < LEAST_FREE_BYTES:
        raise MatsideError(
            f"{data}: only {free / 1e6:.0f} MB free on the disk, expected {LEAST_FREE_BYTES / 1e6:.0f} MB. "
            "Make room and run again: what is done stays done."
        )


def need_writable(out: Path) -> None:
    """Raise MatsideError where the pages could not be written: told before the night and not after it."""
    if not os.access(out, os.W_OK):
        raise MatsideError(f"{out}: cannot be written. Give another folder with --out.")


@contextmanager
def disk_told(out: Path) -> Iterator[None]:
    """A disk that fills up midway, or may no longer be written, ends the night with one line."""
    try:
        yield
    except (OSError, sqlite3.OperationalError) as error:
        number = getattr(error, "errno", None)
        if number == errno.ENOSPC or "disk is full" in str(error):
            raise MatsideError(f"{out}: the disk is full. Make room and run again: what is done stays done.") from error
        where = Path(getattr(error, "filename2", None) or getattr(error, "filename", None) or out)
        ours = where.absolute().is_relative_to(out.absolute())
        if ours and number in IN_THE_WAY:
            raise MatsideError(
                f"{where}: something else of this name is in the way. Move it away and run again: what is done stays done."
            ) from error
        if ours and (number in MAY_NOT or "readonly database" in str(error)):
            raise MatsideError(
                f"{where}: cannot be written. Make it writable, or close the program that holds it, and run again: what is done stays done."
            ) from error
        raise
