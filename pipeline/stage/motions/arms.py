"""How arms are lifted: a sharp or a soft lift, whose speed is known beforehand."""

from __future__ import annotations

import numpy as np

from pipeline.stage.timing import ramp

APART = 0.75  # of one part's length between the starts of two: the lift slows to about two fifths of its peak between them


def arm_lift(t: np.ndarray, start: float, seconds: float, hitches: int = 0) -> np.ndarray:
    """(n,) 0 before `start`, 1 after `start + seconds`.

    Without hitches it is one movement of least jerk (Flash & Hogan 1985), whose speed peaks at 1.875 / seconds halfway; with
    them it is hitches + 1 such movements laid over each other, so that the lift falters.
    """
    each = seconds / (1 + APART * hitches)
    starts = [start + APART * each * k for k in range(hitches + 1)]
    return sum((ramp(t, at, at + each) for at in starts), np.zeros_like(t)) / len(starts)
