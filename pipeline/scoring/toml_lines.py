"""Where a key stands in a TOML text, for messages. The standard reader gives values without their lines."""

from __future__ import annotations

import re

_HEADER = re.compile(r"^\s*\[\s*([^\[\]]+?)\s*\]\s*(#.*)?$")
_KEY = re.compile(r"^\s*((?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'))*)\s*=")


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in re.findall(r"\"[^\"]*\"|'[^']*'|[^.\s]+", dotted))


def line_of(text: str, keys: tuple[str, ...]) -> int:
    """Line (from 1) of a dotted key or table, else of the longest beginning of it that is written out, else 1."""
    best, depth = 1, 0
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            here = table = _parts(header[1])
        elif key := _KEY.match(line):
            here = (*table, *_parts(key[1]))
        else:
            continue
        shared = next((i for i, (a, b) in enumerate(zip(here, keys, strict=False)) if a != b), min(len(here), len(keys)))
        if shared > depth and shared == min(len(here), len(keys)):
            best, depth = number, shared
    return best
