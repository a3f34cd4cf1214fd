"""Which pictures looks from near by are taken of, and how what was seen is known again: shared by holds and cartwheels."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

import numpy as np

from pipeline.clips.video import moments_at
from pipeline.landmarks.models import LandmarkModel
from pipeline.landmarks.near import Near
from pipeline.landmarks.track import Track

SAME_MOMENT_S = 1e-3
DIGITS = 6  # kept of offsets, in trunks, and of a knee's degrees
MOMENT_DIGITS = 6  # by which windows are told apart, in seconds: how the last bits of a moment come out is the machine's

Window = tuple[float, float]  # seconds from the clip's first shown frame: start and end of a hold, or of the time upside down
Key = tuple[float, float, str]  # of what is kept of a window: its seconds and the frames looked at, see `key_of`
Kept = TypeVar("Kept")


def bodies_at(path: Path, track: Track, rows: np.ndarray, longest_side: int) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
    """For rows of the track that the file has a picture of: its number among them, the RGB picture, its longest side at most so many pixels, and the
    body as it is followed there (33, 2; pixels of that picture)."""
    for number, moment in moments_at(path, [float(t) for t in track.t[rows]]):
        if abs(moment.t - track.t[rows[number]]) <= SAME_MOMENT_S:
            frame = moment.frame(longest_side)
            yield number, frame.image, track.xy[rows[number]] * frame.scale - 0.5


def key_of(track: Track, window: Window, rows: np.ndarray) -> Key:
    """What is kept of a window is known by it, and by the rows of the track that are looked at, as they are followed (sha256)."""
    followed = hashlib.sha256(track.t[rows].tobytes() + np.ascontiguousarray(track.xy[rows]).tobytes())
    return kept_key(*window, followed.hexdigest())


def kept_key(start: float, end: float, followed: str) -> Key:
    """The key of a window as it was kept, by this machine or another one."""
    return round(float(start), MOMENT_DIGITS), round(float(end), MOMENT_DIGITS), str(followed)


def look_at_new(
    known: dict[Key, Kept],
    windows: Sequence[Window],
    keys: Sequence[Key],
    model: LandmarkModel,
    look: Callable[[Near, Window], Kept | None],
) -> bool:
    """Adds to what is known what is seen in the windows that are not; whether there was any. The model is loaded only then; where nothing could be
    looked at nothing is known, and a later run tries again."""
    fresh, near = False, None
    for window, key in zip(windows, keys, strict=True):
        if key not in known:
            near = near or Near.load(model)
            seen = look(near, window)
            if seen is not None:
                known[key], fresh = seen, True
    return fresh
