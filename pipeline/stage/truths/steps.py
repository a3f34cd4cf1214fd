"""Steps: a foot lifted off the floor and put down elsewhere."""

from __future__ import annotations

import numpy as np

from pipeline.stage.truths.geometry import Attempt

LIFTED = 0.015  # metres of the whole foot above the floor
ELSEWHERE = 0.10  # of the leg's length


def steps(a: Attempt, start: float, end: float) -> int:
    """How many steps either foot takes that begin and end between these seconds."""
    count = 0
    for side in ("left", "right"):
        air = a.low[f"{side}_foot_low"] > LIFTED
        up = np.flatnonzero(air[1:] & ~air[:-1]) + 1
        down = np.flatnonzero(~air[1:] & air[:-1]) + 1
        foot = 0.5 * (a.j[f"{side}_heel"] + a.j[f"{side}_foot_index"])[:, :2]
        for first in up:
            later = down[down > first]
            if len(later) and a.t[first] >= start - 1e-9 and a.t[later[0]] <= end + 1e-9:
                count += bool(np.linalg.norm(foot[later[0]] - foot[first - 1]) > ELSEWHERE * a.leg)
    return count
