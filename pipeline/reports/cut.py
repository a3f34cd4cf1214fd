"""Which part of a frame to show: the athlete with some room around."""

from __future__ import annotations

import numpy as np

ROOM = 0.7  # torso lengths of hall left around the athlete
WIDEST = 1.5  # at most this much longer one way than the other, where the frame allows


def cut_box(xy: np.ndarray, torso: float, width: int, height: int) -> tuple[int, int, int, int]:
    """Left, top, right, bottom in whole pixels of the part of a (width, height) frame that holds the points (n, 2), NaN left out."""
    seen = xy[np.isfinite(xy).all(axis=1)]
    if not len(seen):
        return 0, 0, width, height
    low, high = seen.min(axis=0) - ROOM * torso, seen.max(axis=0) + ROOM * torso
    least = (high - low)[::-1] / WIDEST
    grow = np.maximum(0, least - (high - low)) / 2
    low, high = np.maximum(np.floor(low - grow), 0), np.minimum(np.ceil(high + grow), (width, height))
    if (high - low < 2).any():  # the points lie outside the frame
        return 0, 0, width, height
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])
