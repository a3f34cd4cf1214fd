"""Which way the athlete faces, and which limb is the nearer one, voted over many frames: joints bend one way only."""

from __future__ import annotations

import numpy as np

from pipeline.geometry import length, middle, turn
from pipeline.landmarks.track import INDEX, Track
from pipeline.vocabulary import Side

_SIDES = ("left", "right")


def facing(xy: np.ndarray) -> tuple[int, float]:
    """(+1 or -1, share of votes 0.5..1): would the athlete, stood upright, face the picture's right or left?

    xy: (n, 33, 2) pixels. Seen from the side, knees and hips fold one way only, feet and nose point to the front; a body that
    rolls over in the picture keeps its sense. Votes are weighted by how far a joint is folded, so a straight leg says nothing.
    """
    votes = []
    with np.errstate(invalid="ignore"):
        for side in _SIDES:
            shoulder, hip, knee, ankle, heel, toe = (
                xy[:, INDEX[f"{side}_{p}"]] for p in ("shoulder", "hip", "knee", "ankle", "heel", "foot_index")
            )
            scale = length(hip, knee) * length(knee, ankle)
            # thigh to shank: the shank turns towards the back of the body, which is clockwise for one who faces right
            votes.append(2.0 * _fold(turn(knee - hip, ankle - knee)) * _long(scale))
            votes.append(-1.0 * _fold(turn(hip - shoulder, knee - hip)) * _long(length(shoulder, hip) * length(hip, knee)))
            votes.append(-1.5 * np.sin(np.radians(turn(ankle - knee, toe - heel))) * _long(length(knee, ankle) * length(toe, heel) * 2))
        ears, shoulders = (middle(xy[:, INDEX[f"left_{p}"]], xy[:, INDEX[f"right_{p}"]]) for p in ("ear", "shoulder"))
        head = xy[:, INDEX["nose"]] - ears
        votes.append(
            1.0 * np.sin(np.radians(turn(ears - shoulders, head))) * _long(length(ears, shoulders) * np.linalg.norm(head, axis=-1) * 2)
        )
    all_votes = np.concatenate([np.asarray(v) for v in votes]) if votes else np.zeros(0)
    all_votes = all_votes[np.isfinite(all_votes)]
    total, clear = all_votes.sum(), np.abs(all_votes).sum()
    if clear == 0:
        return 1, 0.5
    return (1 if total >= 0 else -1), float(0.5 + 0.5 * abs(total) / clear)


def _fold(degrees: np.ndarray) -> np.ndarray:
    """Vote of a fold: nothing below about 15 degrees, where landmarks may err, one above 60; near 180 the sign means little."""
    size = np.abs(degrees)
    return np.sign(degrees) * np.clip((size - 15) / 45, 0, 1) * np.clip((178 - size) / 20, 0, 1)


def _long(product: np.ndarray) -> np.ndarray:
    """Weight of a vote by how long its segments appear, against their own typical length: a foreshortened limb's turn is noise."""
    typical = np.nanquantile(product, 0.7) if np.isfinite(product).any() else np.nan
    return np.clip(product / typical, 0, 1) if typical and np.isfinite(typical) and typical > 0 else np.zeros_like(product)


def nearer_side(track: Track, start: float, end: float, direction: int) -> tuple[Side, float]:
    """(side nearer to the camera, clearness 0..1) between two times, from depth and from how well each side is seen.

    An athlete who faces the picture's right shows her right side; the direction decides where depth says little.
    """
    inside = (track.t >= start) & (track.t <= end)
    parts = ("shoulder", "hip", "knee", "ankle")
    left, right = (track.z[np.ix_(inside, [INDEX[f"{s}_{p}"] for p in parts])] for s in _SIDES)
    seen_left, seen_right = (track.visibility[np.ix_(inside, [INDEX[f"{s}_{p}"] for p in parts])] for s in _SIDES)
    expected = 1.0 if direction > 0 else -1.0  # positive: the right side is nearer
    score = 0.5 * expected
    if np.isfinite(left - right).any():
        gap = (left - right)[np.isfinite(left - right)]
        score += 0.6 * float(np.tanh(np.median(gap) / (np.median(np.abs(gap)) + 1e-9)))
    if np.isfinite(seen_right - seen_left).any():
        score += float(np.clip(4 * np.nanmean(seen_right - seen_left), -0.5, 0.5))
    return (Side.RIGHT if score >= 0 else Side.LEFT), float(min(1.0, abs(score)))
