"""Safe file names and whole-or-nothing writes."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from pipeline.files import write_whole


def slug(text: str) -> str:
    """A file name (without ending) that every system takes, the same for the same text; ordinary codes stay as they are."""
    if re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,79}", text):
        return text
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-")[:40]
    return f"{plain or 'x'}-{hashlib.sha256(text.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"


def write_changed(path: Path, content: str | bytes) -> None:
    """Write a file whole or not at all; one that says the same already is left alone."""
    data = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
    if not (path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data):
        write_whole(path, data)
