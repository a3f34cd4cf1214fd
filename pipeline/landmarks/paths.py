"""One pass of following: what was seen, frame by frame, from one start in one direction."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.landmarks.net import Guess
from pipeline.landmarks.sides import as_named
from pipeline.landmarks.track import INDEX, N

CORE = np.array([INDEX[n] for n in ("left_shoulder", "right_shoulder", "left_hip", "right_hip")])
PLACES = 26  # of a body at which colours are read
MAIN = np.array([INDEX[f"{s}_{p}"] for p in ("shoulder", "hip", "knee", "ankle", "elbow", "wrist") for s in ("left", "right")])
PAIRS = MAIN.reshape(-1, 2)  # left and right of each


@dataclass(eq=False)
class Path:
    """Arrays cover a stretch's frames; frames not followed are NaN. Working-size pixels."""

    first: int  # frame number of row 0
    xy: np.ndarray  # (n, 33, 2)
    z: np.ndarray  # (n, 33)
    visibility: np.ndarray  # (n, 33)
    peak: np.ndarray  # (n, 33)
    presence: np.ndarray  # (n,)
    crop: np.ndarray  # (n, 4) x, y, side, angle of the crop looked at
    steer: np.ndarray  # (n, 2, 2) the steering points: middle of the hips, top of the circle round the body
    looked: np.ndarray  # (n,) bool: looked at in this frame; else filled in between
    clothes: np.ndarray  # (n, 26, 3) colours worn, see `looks`; NaN where not looked at
    shared: np.ndarray  # (n,) bool: taken over from the pass of the other direction, whose crop was the same
    step: int = 1  # +1 forwards, -1 backwards
    looks: int = 0  # calls of the network
    spared: int = 0  # looks that who stands still was spared beside who stands about

    @classmethod
    def empty(cls, first: int, n: int, step: int) -> Path:
        """Nothing seen yet."""
        blank = np.full
        return cls(first, blank((n, N, 2), np.nan), blank((n, N), np.nan), blank((n, N), np.nan), blank((n, N), np.nan),
                   np.zeros(n), blank((n, 4), np.nan), blank((n, 2, 2), np.nan), np.zeros(n, bool),
                   blank((n, PLACES, 3), np.nan, np.float32), np.zeros(n, bool), step)  # fmt: skip

    def put(self, number: int, guess: Guess, clothes: np.ndarray | None = None) -> None:
        """Keep what was seen in one frame."""
        i = number - self.first
        self.xy[i], self.z[i], self.visibility[i], self.peak[i] = guess.xy, guess.z, guess.visibility, guess.peak
        self.looked[i] = True
        self.presence[i], self.steer[i] = guess.presence, (guess.centre, guess.top)
        if clothes is not None:
            self.clothes[i] = clothes

    def guess(self, row: int) -> Guess:
        """What was seen in one row."""
        return Guess(self.xy[row], self.z[row], self.visibility[row], self.peak[row], float(self.presence[row]), *self.steer[row])

    def fill(self, *, most: int) -> None:
        """Straight lines over frames that were not looked at, at most `most` - 1 in a row; limbs are named as in the frame before."""
        rows = np.flatnonzero(self.looked)
        for before, after in pairwise(rows):
            if not 1 < after - before <= most or np.isfinite(self.crop[before + 1 : after]).any():  # looked, and nobody was seen
                continue
            share = (np.arange(before + 1, after) - before) / (after - before)
            named = as_named(self.xy[before], self.xy[after], max(float(torso(self.xy[before])), 1.0))
            for values in (self.xy, self.z, self.visibility, self.peak, self.presence, self.crop):
                weight = share.reshape(-1, *[1] * (values.ndim - 1))
                there = values[after][named] if values.ndim > 1 and values.shape[1] == N else values[after]
                values[before + 1 : after] = values[before] + weight * (there - values[before])

    @property
    def valid(self) -> np.ndarray:
        """(n,) bool: followed in this frame."""
        return np.isfinite(self.xy[:, INDEX["left_hip"], 0])

    @property
    def hips(self) -> np.ndarray:
        """(n, 2) middle of the hips."""
        return self.xy[:, [INDEX["left_hip"], INDEX["right_hip"]]].mean(1)

    @property
    def shoulders(self) -> np.ndarray:
        """(n, 2) middle of the shoulders."""
        return self.xy[:, [INDEX["left_shoulder"], INDEX["right_shoulder"]]].mean(1)


def torso(xy: np.ndarray) -> np.ndarray:
    """(...,) distance from the shoulders' to the hips' middle of (..., 33, 2) points."""
    if xy.ndim == 2 and xy.dtype == np.float64:  # one body: asked for often, and plain numbers are twenty times as fast
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = xy[CORE].tolist()
        across, down = (ax + bx) / 2 - (cx + dx) / 2, (ay + by) / 2 - (cy + dy) / 2
        return np.float64(math.sqrt(across * across + down * down))
    return np.linalg.norm(xy[..., CORE[:2], :].mean(-2) - xy[..., CORE[2:], :].mean(-2), axis=-1)


def axes(xy: np.ndarray) -> np.ndarray:
    """(n, 2, 2) the trunk's own axes of bodies (n, 33, 2): the direction to its right hand in the picture, and up along it."""
    up = xy[:, CORE[:2]].mean(axis=1) - xy[:, CORE[2:]].mean(axis=1)
    up = up / np.maximum(np.linalg.norm(up, axis=1), 1e-9)[:, None]
    return np.stack([np.stack([-up[:, 1], up[:, 0]], axis=1), up], axis=1)


def apart(a: np.ndarray, b: np.ndarray, size: np.ndarray | float) -> np.ndarray:
    """(...,) mean distance of shoulders and hips between two (..., 33, 2) bodies, in units of `size`, sides not told apart."""
    same = np.linalg.norm(a[..., CORE, :] - b[..., CORE, :], axis=-1).mean(-1)
    crossed = np.linalg.norm(a[..., CORE, :] - b[..., CORE[[1, 0, 3, 2]], :], axis=-1).mean(-1)
    return np.minimum(same, crossed) / size


def limbs_apart(a: np.ndarray, b: np.ndarray, size: np.ndarray | float) -> np.ndarray:
    """(...,) mean distance of the twelve main joints between two (..., 33, 2) bodies, in units of `size`.

    Left and right are not told apart, joint pair by joint pair: two views of one body may name its sides differently.
    """
    if a.ndim == b.ndim == 2:  # two bodies: all pairs at once
        ours, theirs = a[PAIRS], b[PAIRS]
        same = np.linalg.norm(ours - theirs, axis=-1)
        crossed = np.linalg.norm(ours - theirs[:, ::-1], axis=-1)
        nearer = np.minimum((same[:, 0] + same[:, 1]) / 2, (crossed[:, 0] + crossed[:, 1]) / 2)
        return sum(nearer.tolist()) / len(PAIRS) / size
    total = 0.0
    for left, right in PAIRS:
        same = np.linalg.norm(a[..., [left, right], :] - b[..., [left, right], :], axis=-1).mean(-1)
        crossed = np.linalg.norm(a[..., [left, right], :] - b[..., [right, left], :], axis=-1).mean(-1)
        total = total + np.minimum(same, crossed)
    return total / len(PAIRS) / size
