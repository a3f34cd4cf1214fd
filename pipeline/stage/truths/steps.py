"""Steps: a foot lifted off the floor and put down elsewhere."""

from __future__ import annotations

import numpy as np

from pipeline.stage.truths.geometry import Attempt

LIFTED = 0.015  # metres of the whole foot above the floor
ELSEWHERE = 0.10  # of the leg's length
ALONE = 0.5  # of a lift's time the other foot stands; both in the air together bounce, or roll on over the hands and knees


def steps(a: Attempt, start: float, end: float) -> int:
    """How many steps either foot takes, the other one standing, that begin and end between these seconds."""
    count = 0
    for side, other in (("left", "right"), ("right", "left")):
        air, other_air = (a.low[f"{s}_foot_low"] > LIFTED for s in (side, other))
        up = np.flatnonzero(air[1:] & ~air[:-1]) + 1
        down = np.flatnonzero(~air[1:] & air[:-1]) + 1
        foot = 0.5 * (a.j[f"{side}_heel"] + a.j[f"{side}_foot_index"])[:, :2]
        for first in up:
            later = down[down > first]
            if not len(later) or a.t[first] < start - 1e-9 or a.t[later[0]] > end + 1e-9:
                continue
            if np.mean(other_air[first : later[0]]) < ALONE:
                count += bool(np.linalg.norm(foot[later[0]] - foot[first - 1]) > ELSEWHERE * a.leg)
    return count
