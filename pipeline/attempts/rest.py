"""From a moment inside a skill out to where it began and ended: the nearest rest on either side."""

from __future__ import annotations

import numpy as np

from pipeline.attempts.signals import Signals, runs
from pipeline.landmarks.track import INDEX

STILL = 0.30  # trunks a second; standing children sway and landmarks jitter below this
REST_S = 0.12  # a rest lasts at least this
STANDING = 0.80  # hips at this share of their standing height, or higher
REACH_S = 4.0  # no skill begins or ends further than this from its middle


def hip_height(s: Signals) -> np.ndarray:
    """(n,) height of the middle of the hips, trunks."""
    return np.nanmean(s.h("hip"), axis=1) if len(s.t) else np.zeros(0)


def standing_height(s: Signals) -> float:
    """Hips' height when standing: the highest they get with the trunk upright (a high quantile), trunks."""
    h = hip_height(s)
    upright = np.isfinite(h) & (np.cos(np.radians(s.trunk_turn)) > 0.8)
    return float(np.quantile(h[upright], 0.9)) if upright.sum() > 3 else 1.6


def standing(s: Signals) -> np.ndarray:
    """(n,) bool: trunk upright and hips high."""
    with np.errstate(invalid="ignore"):
        return (np.cos(np.radians(s.trunk_turn)) > 0.8) & (hip_height(s) > STANDING * standing_height(s))


def span(s: Signals, first: int, last: int, *, floor: int = 0, ceiling: int | None = None) -> tuple[int, int]:
    """(start, end) indices of the movement around first..last: from the end of the rest before to the start of the rest after.

    Looks for a still stand first, then for any standing moment of least movement, then for any rest at all.
    floor, ceiling: indices not to go beyond (a neighbouring skill).
    """
    ceiling = len(s.t) - 1 if ceiling is None else ceiling
    return _outward(s, first, floor, -1), _outward(s, last, ceiling, +1)


def _outward(s: Signals, here: int, limit: int, step: int) -> int:
    rate = 1 / (s.t[1] - s.t[0])
    far = max(limit, here - int(REACH_S * rate)) if step < 0 else min(limit, here + int(REACH_S * rate))
    index = np.arange(here, far + step, step)
    if len(index) == 0:
        return here
    speed, stood = s.speed[index], standing(s)[index]
    with np.errstate(invalid="ignore"):
        still = speed < STILL
    need = max(2, int(round(REST_S * rate)))
    for mask in (still & stood, still & (np.cos(np.radians(s.trunk_turn[index])) > 0.5), still):
        for a, b in runs(mask):
            if b - a + 1 >= need or b == len(index) - 1:
                return int(index[a])
    if stood.any():
        candidates = np.flatnonzero(stood & np.isfinite(speed))
        if len(candidates):
            return int(index[candidates[np.argmin(speed[candidates])]])
    known = np.flatnonzero(np.isfinite(speed))
    return int(index[known[-1]]) if len(known) else here


def settles(values: np.ndarray, rest: float, tolerance: float) -> np.ndarray:
    """(n,) bool: within `tolerance` of the resting value or below it."""
    with np.errstate(invalid="ignore"):
        return values < rest + tolerance


def lowest_part(s: Signals, parts: tuple[str, ...]) -> np.ndarray:
    """(n, 2) height of the lowest of some parts, left and right; NaN where none was seen."""
    stack = np.stack([s.height[:, [INDEX[f"{side}_{part}"] for side in ("left", "right")]] for part in parts])
    out = np.full(stack.shape[1:], np.nan)
    some = np.isfinite(stack).any(axis=0)
    out[some] = np.nanmin(stack[:, some], axis=0)
    return out
