"""One attempt's clock laid on another's by phase: key window on key window, true seconds before and after it."""

from __future__ import annotations

import numpy as np

WINDOW = tuple[float, float]


def to_phase(t: np.ndarray, of: WINDOW, onto: WINDOW) -> np.ndarray:
    """Times of an attempt with key window `of`, as times of one with key window `onto` (seconds, same shape).

    Inside the window time is stretched so that both windows begin and end together; outside it runs as it did. A window without a
    length is laid start on start. The page's player maps the same way (`templates/player.js`).
    """
    long, onto_long = of[1] - of[0], onto[1] - onto[0]
    if not (long > 0 and onto_long > 0):
        return np.asarray(t, float) - of[0] + onto[0]
    inside = onto[0] + np.clip((t - of[0]) / long, 0, 1) * onto_long
    return inside + np.minimum(t - of[0], 0) + np.maximum(t - of[1], 0)
