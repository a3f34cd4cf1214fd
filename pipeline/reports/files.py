"""Safe file names and whole-or-nothing writes."""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path


def slug(text: str) -> str:
    """A file name (without ending) that every system takes, the same for the same text; ordinary codes stay as they are."""
    if re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,79}", text):
        return text
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-")[:40]
    return f"{plain or 'x'}-{hashlib.sha256(text.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"


def write_whole(path: Path, data: str | bytes) -> None:
    """Write a file so that a reader finds the old one or the new one, never a half; an unchanged file is left alone."""
    data = data.encode("utf-8", "replace") if isinstance(data, str) else data
    if path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(data)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
