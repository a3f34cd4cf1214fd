"""One run at a time in an output folder. The system lets go of the lock when a run ends, however it ends."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline.errors import ANOTHER_RUN, MatsideError

NAME = "run.lock"


class AnotherRun(MatsideError):
    """Somebody else is at work in the same output folder."""

    exit_code = ANOTHER_RUN


@contextmanager
def only_run(data: Path, *, wait: bool = False) -> Iterator[None]:
    """Hold the output folder for one run. Raises AnotherRun at once if it is taken, unless told to `wait`."""
    note = data / "run.since"
    try:
        data.mkdir(parents=True, exist_ok=True)
        lock = FileLock(data / NAME)
        lock.acquire(timeout=-1 if wait else 0)
    except Timeout as error:
        since = f" since {note.read_text('utf-8', 'replace')}" if note.is_file() else ""
        raise AnotherRun(
            f"{data.parent}: another run is at work here{since}. Let it finish; `matside run --wait` starts after it."
        ) from error
    except OSError as error:
        raise MatsideError(f"{data}: cannot be written ({error.strerror}). Give another folder with --out.") from error
    try:
        note.write_text(f"{datetime.now():%Y-%m-%d %H:%M}", "utf-8")
        yield
    finally:
        note.unlink(missing_ok=True)
        lock.release()
