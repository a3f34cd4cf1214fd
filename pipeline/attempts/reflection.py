"""A mirror on the wall behind: her reflection does the skill too, smaller, at the same moments, left and right exchanged.

The mirror turns her round, so in the picture each of her limbs and its reflection point the same way, and what is her left looks like a
right. Two children in step hardly ever agree so closely: of 716 pairs of drawn children who took equally long over one skill the same way
round, laid upon each other in time, one came within LIKE (6 degrees: five). Two reflections drawn were 2.9 and 3.9 degrees off, at trunks of 30 and 23 pixels.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.signals import RATE, SIDES, resample, trunk_length
from pipeline.geometry import middle, turn
from pipeline.landmarks.track import INDEX, Track

SMALLER = 0.75  # of the other's trunk: a mirror 1 m behind somebody filmed from 5 m shows her 0.71 as large; two measured 0.45 and 0.48
TOGETHER_S = 0.2  # between starts, and between ends, as they are found on a small body; measured up to 0.13
LIKE = 5.0  # degrees between trunk and limbs of the two, mean over a skill
LATE_S, SOUGHT_S = 0.07, 0.5  # a reflection is never late: at most so far from together they are most alike, of the shifts tried
KNOWN = 0.5  # share of trunk and limbs, over the skill, that both show; the rest may lie beyond the mirror or the picture
LIMBS = (("shoulder", "elbow"), ("elbow", "wrist"), ("hip", "knee"), ("knee", "ankle"))


def reflection(other: Track, one: Track, did: Sequence[Attempt], beside: Sequence[Attempt]) -> bool:
    """Whether `other`, who `did` this, is a reflection of `one`, who did those `beside` her: the same skills together, and alike."""
    together = all(
        any(a.skill is b.skill and max(abs(a.start_s - b.start_s), abs(a.end_s - b.end_s)) <= TOGETHER_S for b in beside) for a in did
    )
    return together and mirrored(other, one, did)


def mirrored(other: Track, one: Track, did: Sequence[Attempt]) -> bool:
    """Whether `other`, clearly smaller, moves through all she `did` as `one` does at the same moments, left and right exchanged."""
    if not did or not trunk_length(other) < SMALLER * trunk_length(one):
        return False
    return all(_together(other, one, a.start_s, a.end_s) for a in did)


def _together(other: Track, one: Track, start_s: float, end_s: float) -> bool:
    """The same between two moments."""
    reach = int(SOUGHT_S * RATE)
    t = np.arange(start_s, end_s + 1e-9, 1 / RATE)
    long = start_s + np.arange(-reach, len(t) + reach) / RATE
    hers, theirs = _directions(one, t, SIDES), _directions(other, long, SIDES[::-1])
    off = [np.abs(turn(hers, theirs[k : k + len(t)])) for k in range(2 * reach + 1)]  # (n, 9) degrees for each shift
    if np.isfinite(off[reach]).mean() < KNOWN:
        return False
    mean = np.array([np.nanmean(one) if np.isfinite(one).mean() >= KNOWN else np.inf for one in off])
    return bool(mean[reach] <= LIKE and abs(int(mean.argmin()) - reach) <= LATE_S * RATE)


def _directions(track: Track, t: np.ndarray, sides: Sequence[str]) -> np.ndarray:
    """(n, 9, 2) trunk and limbs in the picture at the times t, those of the first side named first."""
    xy = resample(track.t, track.xy.reshape(len(track), -1), t).reshape(len(t), -1, 2)

    def at(part: str) -> list[np.ndarray]:
        return [xy[:, INDEX[f"{side}_{part}"]] for side in sides]

    trunk = middle(*at("shoulder")) - middle(*at("hip"))
    return np.stack([trunk, *(end - begin for a, b in LIMBS for begin, end in zip(at(a), at(b), strict=True))], axis=1)
