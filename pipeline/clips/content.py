"""A clip's content hash: the same bytes are the same clip, whatever their name. Remembered by size and time of change."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
from collections.abc import Set
from pathlib import Path

from pipeline.files import NO_FILE, write_whole

CHUNK = 1 << 20
DIGEST_BYTES = 16  # 128 bits: two different clips of any club's lifetime will not meet


def content_hash(path: Path) -> str:
    """32 hexadecimal digits over the whole file (BLAKE2b), as long as it was when it was opened: it may be growing."""
    digest = hashlib.blake2b(digest_size=DIGEST_BYTES)
    with open(path, "rb") as file:
        left = os.fstat(file.fileno()).st_size
        while left > 0 and (chunk := file.read(min(CHUNK, left))):
            digest.update(chunk)
            left -= len(chunk)
    return digest.hexdigest()


def stamp_of(path: Path) -> tuple[int, int]:
    """(bytes, time of change in ns): another one, another content. Raises OSError, also where a link leads to what is no file and may never end."""
    found = path.stat()
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, NO_FILE)
    return found.st_size, found.st_mtime_ns


class ContentHashes:
    """Hashes remembered in one small file, so that an unchanged folder is not read again."""

    def __init__(self, memory: Path) -> None:
        self.memory = memory
        try:
            self._known: dict[str, list] = json.loads(memory.read_text("utf-8"))
        except (OSError, ValueError, RecursionError):
            self._known = {}  # a memory that is lost or broken costs time, nothing else
        if not isinstance(self._known, dict):
            self._known = {}
        self._changed = False

    def of(self, name: str, path: Path) -> str:
        """The hash of the clip called `name`; read from disk only if its size or time of change is new."""
        stamp = stamp_of(path)
        known = self._known.get(name)
        if isinstance(known, list) and len(known) == 3 and known[:2] == [*stamp]:
            return str(known[2])
        digest = content_hash(path)
        self._known[name] = [*stamp, digest]
        self._changed = True
        return digest

    def forget(self, names: set[str], contents: Set[str] = frozenset()) -> None:
        """Drop what is remembered of these clips, and of these hashes under whatever name."""
        for name in [n for n, known in self._known.items() if n in names or (isinstance(known, list) and set(known[2:3]) & contents)]:
            del self._known[name]
            self._changed = True

    def save(self) -> None:
        """Write the memory to its file, if anything in it has changed."""
        if self._changed:
            write_whole(self.memory, json.dumps(self._known))
            self._changed = False
