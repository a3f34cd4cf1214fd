"""Large pieces of memory given back as soon as they are free."""

from __future__ import annotations

import ctypes
import sys

LARGE_BYTES = 256 * 1024  # a picture, but no small array
KEPT_BYTES = 16_000_000  # free at the heap's end: arrays that live for one step come from there, instead of from the system each time
MMAP_THRESHOLD, TRIM_THRESHOLD = -3, -1  # M_MMAP_THRESHOLD and M_TRIM_THRESHOLD of glibc's malloc.h


def give_back_large_pieces() -> bool:
    """Let each piece from 256 kB on come from the system and go back to it; True where this C library can be told so.

    By default glibc raises that limit to the largest piece ever freed (mallopt(3), M_MMAP_THRESHOLD): then every picture comes from one
    heap, which small arrays that live longer keep from shrinking, and a worker swells by a quarter. Once told, it would also give back the
    heap's end from 128 kB on, and take it again for the next array: a third of the time that painting others out took.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        mallopt = ctypes.CDLL(None).mallopt
        return bool(mallopt(MMAP_THRESHOLD, LARGE_BYTES) and mallopt(TRIM_THRESHOLD, KEPT_BYTES))
    except (AttributeError, OSError):  # another C library
        return False
