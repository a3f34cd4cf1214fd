"""Large pieces of memory given back as soon as they are free."""

from __future__ import annotations

import ctypes
import sys

LARGE_BYTES = 256 * 1024  # a picture, but no small array
MMAP_THRESHOLD = -3  # M_MMAP_THRESHOLD of glibc's malloc.h


def give_back_large_pieces() -> bool:
    """Let each piece from 256 kB on come from the system and go back to it; True where this C library can be told so.

    By default glibc raises that limit to the largest piece ever freed (mallopt(3), M_MMAP_THRESHOLD): then every picture comes from one
    heap, which small arrays that live longer keep from shrinking, and a worker swells by a quarter.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        return bool(ctypes.CDLL(None).mallopt(MMAP_THRESHOLD, LARGE_BYTES))
    except (AttributeError, OSError):  # another C library
        return False
