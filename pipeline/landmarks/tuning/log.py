"""What a training run says while it runs: on the screen and in a file, with the seconds since it began."""

from __future__ import annotations

import time
from pathlib import Path


class Log:
    """Call it with words; lines are added to the file."""

    def __init__(self, path: Path) -> None:
        self._file, self._start = path.open("a"), time.time()

    def __call__(self, *words) -> None:
        line = f"[{time.time() - self._start:6.1f}] " + " ".join(str(w) for w in words)
        print(line, flush=True)
        self._file.write(line + "\n")
        self._file.flush()
