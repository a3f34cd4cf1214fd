"""Where the arms are, and when they are lifted from hanging to overhead."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.attempts.once import once
from pipeline.attempts.signals import Signals, pair_mean, runs, smooth, velocity

HANGING, OVERHEAD = -0.25, 0.45  # trunks of the wrists beyond the shoulders: below and above these the arms hang and are up
STARTED = 0.05  # share of a lift's peak speed at which it starts and ends (Balasubramanian et al. 2015 cut movements there)
ARRIVED = 0.12  # the end of a lift is read more coarsely: lifted arms sway
LAST_OF_WAY = 0.10  # of a lift's time until then, which the arms take to come to rest from there (on followed clips)


@dataclass(frozen=True)
class Lift:
    """The arms going up, seconds."""

    start_s: float
    end_s: float


@once
def arms_raised(s: Signals) -> np.ndarray:
    """(n,) how far the wrists lie beyond the shoulders along the trunk, trunks; about -1 while the arms hang, 0.9 overhead."""
    shoulder = pair_mean(s.p("shoulder"))
    trunk = shoulder - pair_mean(s.p("hip"))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.sum((pair_mean(s.p("wrist")) - shoulder) * trunk, axis=-1) / np.linalg.norm(trunk, axis=-1)


def lifts(s: Signals, start_s: float, end_s: float) -> list[Lift]:
    """Every time between two moments that the arms went from hanging to overhead, in order."""
    raised = arms_raised(s)
    speed = smooth(velocity(raised[:, None], s.t, half=2)[:, 0], 3)
    inside = np.flatnonzero(s.between(start_s, end_s))
    if len(inside) < 3:
        return []
    first, last = int(inside[0]), int(inside[-1])
    with np.errstate(invalid="ignore"):
        hung, up = raised < HANGING, raised > OVERHEAD
    out: list[Lift] = []
    for a, b in runs(up[first : last + 1]):
        arrived = first + a
        below = np.flatnonzero(hung[first:arrived])
        if len(below) == 0 or (out and s.t[first + below[-1]] < out[-1].end_s) or b - a < 2:
            continue
        left = first + int(below[-1])
        peak = left + int(np.nanargmax(np.nan_to_num(speed[left : arrived + 1], nan=-np.inf)))
        start, end = _slow(s, speed, peak, first, -1, STARTED), _slow(s, speed, peak, last, +1, ARRIVED)
        out.append(Lift(start, min(end + LAST_OF_WAY * (end - start), float(s.t[last]))))
    return out


def _slow(s: Signals, speed: np.ndarray, peak: int, limit: int, step: int, share: float) -> float:
    """Going from the peak outwards: when the speed has fallen to a share of the peak's."""
    for i in range(peak, limit + step, step):
        if speed[i] < share * speed[peak]:
            return float(s.t[i])
    return float(s.t[limit])
