"""A look from near by at held poses: a small network at two frames of each hold moves its points, and tells what points miss.

A hold is read as a median over many frames, so jitter hardly counts there and what the networks that follow are steadily off does: in the crop
that holds a whole body with its arms out a trunk is some 40 pixels long, and a degree at the hip a third of a pixel. So two frames are looked at
from nearer by (near.py). What is seen is told in the trunk's own frame, so that it holds however the athlete and the phone sway, and the joints
of the whole hold go SHARE of the way to where they are seen. What the network makes of a hold beyond its points goes along: it tells a part of what angles
miss where clothes hide the joint (measures/learnt.py), and the angles that its head tells are read directly (measures/told.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipeline.landmarks.near import Near, seen_near
from pipeline.landmarks.near_angles import middle_angles
from pipeline.landmarks.near_frames import Window, bodies_at
from pipeline.landmarks.paths import CORE, axes, torso
from pipeline.landmarks.track import HoldLook, Track

LOOKS_AT = (0.375, 0.625)  # of the hold's frames, each plain and mirrored: more of them see the same
SHARE = 0.7  # of the way from where a joint is held to where it is seen
EASE_S = 0.3  # before and after a hold, over which points move gradually: nothing jumps


@dataclass(frozen=True)
class Seen:
    """What was seen in one hold."""

    beside: np.ndarray  # (33, 2) how far beside the track each joint is seen, along the trunk's axes, in trunks; NaN where it was not
    features: np.ndarray  # (2, FEATURES) what the network made of it beyond its points: mean of plain looks, of mirrored ones
    angles: np.ndarray  # (COUNT,) degrees told, see near_angles; NaN where none are, inf where joints are seen elsewhere

    @property
    def by(self) -> np.ndarray:
        """(33, 2) how far each point of the hold moves, along the trunk's axes, in trunks."""
        return SHARE * np.nan_to_num(self.beside)


def looked_at(track: Track, window: Window) -> np.ndarray:
    """Rows of the track, at most as many as LOOKS_AT, spread over a hold; only frames in which the whole athlete is followed."""
    inside = (track.t >= window[0] - 1e-9) & (track.t <= window[1] + 1e-9)
    rows = np.flatnonzero(inside & np.isfinite(track.xy).all(axis=(1, 2)))
    return np.unique(rows[(np.array(LOOKS_AT) * len(rows)).astype(int)]) if len(rows) else rows


def look(near: Near, path: Path, track: Track, window: Window, *, longest_side: int) -> Seen | None:
    """What the network sees in a hold; None where no frame of it could be looked at. longest_side: of the pictures worked on, in pixels."""
    looks = [seen_near(near, image, body) for _, image, body in bodies_at(path, track, looked_at(track, window), longest_side)]
    if not looks:
        return None
    return Seen(
        _middle(np.array([one.beside for one in looks])),
        _mean(np.array([one.features for one in looks])),
        middle_angles(np.array([one.angles for one in looks])),
    )


def _middle(each: np.ndarray) -> np.ndarray:
    """(33, 2) the median over frames (n, 33, 2) in which a point was seen; NaN where it was in none."""
    known = np.isfinite(each).any(axis=0)
    return np.where(known, np.nanmedian(np.where(known, each, 0.0), axis=0), np.nan)


def _mean(each: np.ndarray) -> np.ndarray:
    """(2, FEATURES) the mean over frames (n, 2, FEATURES) that were looked at; NaN where none was."""
    known = each[np.isfinite(each).all(axis=(1, 2))]
    return known.mean(axis=0) if len(known) else np.full(each.shape[1:], np.nan)


def moved(track: Track, holds: Sequence[tuple[Window, Seen]]) -> Track:
    """The track with the points of each hold moved to where they were seen (`Seen.by`), and gradually so EASE_S before and after it; with the
    network's word there."""
    if not holds:
        return track
    weights = np.array([eased(track.t, window) for window, _ in holds])  # (k, n)
    weights = weights / np.maximum(weights.sum(axis=0), 1.0)  # two holds close to each other share what lies between
    rows = np.flatnonzero((weights > 0).any(axis=0) & np.isfinite(track.xy[:, CORE]).all(axis=(1, 2)))
    by = np.einsum("kn,kpa->npa", weights[:, rows], np.array([seen.by for _, seen in holds]))  # in trunks, along the trunk's axes
    xy = track.xy.copy()
    xy[rows] += np.einsum("naj,npa->npj", axes(xy[rows]), by) * torso(xy[rows])[:, None, None]
    return replace(track, xy=xy, looks=tuple(HoldLook(start, end, seen.features, seen.angles) for (start, end), seen in holds))


def eased(t: np.ndarray, window: Window) -> np.ndarray:
    """(n,) 1 within a hold, falling to 0 over EASE_S on either side."""
    return np.clip(1 - np.maximum(window[0] - t, t - window[1]) / EASE_S, 0.0, 1.0)
