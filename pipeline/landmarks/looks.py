"""What people wear, part by part: to tell neighbours apart frame by frame, and to know an athlete again who was out of sight.

Colours are read at 26 places of a body: on chest and belly, thighs, shanks and upper arms. A wardrobe keeps the colours seen
at each part in frames where it was surely this person; how well a later frame fits is the mean log-likelihood of its colours
under a Parzen estimate from them, so that stripes and prints are known as what they are. Left and right are not told apart.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pipeline.landmarks.paths import CORE, torso
from pipeline.landmarks.track import INDEX, N

SAMPLES = 16  # frames a wardrobe is learned from at most
BANDWIDTH = 9.0  # of the Parzen estimate, CIE 1976 units: light and shade on one cloth
LIGHTNESS = 0.5  # weight of squared lightness differences: shade changes lightness first
STRANGE = 1e-3  # likelihood of any colour whatsoever
LEAST_FRAMES = 4  # a wardrobe is learned from so many frames or not at all
SAME_CLOTHES = 1.2  # of log-likelihood under the usual, up to which two may be one person at different times
SAME_SIZE = 1.4  # ratio of torso lengths
PARTS = 5


def _places() -> tuple[np.ndarray, np.ndarray]:
    """((26, 33) weights of the landmarks, (26,) part) of the places looked at."""
    weights, parts = [], []
    for across in (0.3, 0.5, 0.7):
        for along in (0.2, 0.4, 0.6, 0.8):
            row = np.zeros(N)
            row[CORE] = (1 - along) * (1 - across), (1 - along) * across, along * (1 - across), along * across
            weights.append(row)
            parts.append(0 if along < 0.5 else 1)
    for part, (a, b), shares in (
        (2, ("hip", "knee"), (0.3, 0.5, 0.7)),
        (3, ("knee", "ankle"), (0.35, 0.65)),
        (4, ("shoulder", "elbow"), (0.4, 0.7)),
    ):
        for side in ("left", "right"):
            for share in shares:
                row = np.zeros(N)
                row[INDEX[f"{side}_{a}"]], row[INDEX[f"{side}_{b}"]] = 1 - share, share
                weights.append(row)
                parts.append(part)
    return np.array(weights), np.array(parts)


PLACES, PART = _places()


def clothes(image: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """(26, 3) CIE Lab at a body's places, each a mean over 3 x 3 pixels of an RGB picture; NaN beyond its edge."""
    import cv2

    height, width = image.shape[:2]
    points = np.round(PLACES @ xy).astype(int)
    inside = (points >= 1).all(1) & (points[:, 0] < width - 1) & (points[:, 1] < height - 1)
    x, y = np.clip(points[:, 0], 1, width - 2), np.clip(points[:, 1], 1, height - 2)
    near = np.array([-1, 0, 1])
    pixels = image[(y[:, None] + near)[:, :, None], (x[:, None] + near)[:, None, :]].mean((1, 2))
    lab = cv2.cvtColor((pixels[None] / 255).astype(np.float32), cv2.COLOR_RGB2LAB)[0]
    lab[~inside] = np.nan
    return lab


@dataclass(frozen=True, eq=False)
class Wardrobe:
    """The colours of one person."""

    parts: tuple[np.ndarray, ...]  # (k, 3) Lab of each part
    usual: float  # how well frames of this person mostly fit

    def fit(self, seen: np.ndarray) -> np.ndarray:
        """(...,) mean log-likelihood of (..., 26, 3) clothes; NaN where no part could be compared."""
        if seen.ndim > 2:  # most frames are not looked at, and have no colours
            there = np.isfinite(seen).any((-2, -1))
            if not there.all():
                whole = np.full(seen.shape[:-2], np.nan)
                whole[there] = self.fit(seen[there])
                return whole
        out = []
        for part, known in enumerate(self.parts):
            if not len(known):
                continue
            near = _kernel(seen[..., part == PART, :], known)
            likelihood = np.log(np.exp(near, out=near).mean(-1) + STRANGE)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", RuntimeWarning)  # a part out of the picture
                out.append(np.nanmean(likelihood, axis=-1))
        if not out:
            return np.full(seen.shape[:-2], np.nan)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            return np.nanmean(np.array(out), axis=0)


def _kernel(seen: np.ndarray, known: np.ndarray) -> np.ndarray:
    """(..., k) logarithm of the kernel between (..., 3) colours and (k, 3): minus half of their weighted squared distance in bandwidths,
    as one product of matrices, several times as fast as by differences."""
    weights = (np.sqrt([LIGHTNESS, 1.0, 1.0]) / BANDWIDTH).astype(seen.dtype)
    a, b = seen.reshape(-1, 3) * weights, known * weights
    ones = np.ones((max(len(a), len(b)), 1), seen.dtype)
    a = np.concatenate([a, -(a * a).sum(1, keepdims=True) / 2, ones[: len(a)]], axis=1)
    b = np.concatenate([b, ones[: len(b)], -(b * b).sum(1, keepdims=True) / 2], axis=1)
    return (a @ b.T).reshape(*seen.shape[:-1], len(known))


def learn(seen: np.ndarray) -> Wardrobe | None:
    """The wardrobe of (n, 26, 3) clothes in frames of one person; None where there are too few."""
    seen = seen[np.isfinite(seen).any((1, 2))]
    if len(seen) < LEAST_FRAMES:
        return None
    chosen = seen[np.linspace(0, len(seen) - 1, min(2 * SAMPLES, len(seen))).astype(int)]
    half = _of(chosen[::2], 0.0)
    return _of(chosen[::2] if len(chosen) >= 2 * SAMPLES else chosen, float(np.nanmedian(half.fit(chosen[1::2]))))


def _of(seen: np.ndarray, usual: float) -> Wardrobe:
    parts = []
    for part in range(PARTS):
        colours = seen[:, part == PART].reshape(-1, 3)
        parts.append(colours[np.isfinite(colours).all(1)])
    return Wardrobe(tuple(parts), usual)


def could_be_one(a: tuple[np.ndarray, float], b: tuple[np.ndarray, float]) -> bool:
    """Two people's (clothes (n, 26, 3), torso length): the same clothes and size, so that one may be the other later on."""
    one, other = learn(a[0]), learn(b[0])
    if one is None or other is None or not max(a[1], b[1]) < SAME_SIZE * min(a[1], b[1]):
        return False
    lacks = [w.usual - float(np.nanmedian(w.fit(seen))) for w, seen in ((one, b[0]), (other, a[0]))]
    return bool(np.mean(lacks) < SAME_CLOTHES)


def size_of(xy: np.ndarray) -> float:
    """Torso length of (n, 33, 2) bodies in working pixels, as long as it mostly looks."""
    sizes: Iterable[float] = torso(xy)
    return float(np.nanpercentile(np.asarray(sizes), 75))
