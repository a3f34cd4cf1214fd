"""The angles a held pose is measured by, as the network of the near look tells them: by its points, and by what it made of the crop beyond
these, which a small head reads (`tuning/near_net.py`, trained along with the network on joints in space).

Clothes hide where a hip lies, and perspective turns a leg that comes a little towards the phone; what the head adds to the angle that points
draw is learnt for both.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from pipeline.errors import MatsideError
from pipeline.geometry import joint_angle, turn
from pipeline.landmarks.net import FEATURES, JOINTS
from pipeline.landmarks.track import INDEX

ANGLES = ("hip_to_ankle", "hip_to_knee", "knee", "shoulder")  # of the left side, then of the right one
HIPS = (0, 1, 4, 5)  # counted round from the trunk to the leg, 0..360; the others are 0..180
COUNT = 2 * len(ANGLES)
KNEES = (ANGLES.index("knee"), len(ANGLES) + ANGLES.index("knee"))
STEP = 5.0  # degrees the head tells with 1
BEYOND = 6.0  # deviations of a feature that count
SIDES = tuple(tuple(INDEX[f"{side}_{part}"] for part in ("shoulder", "elbow", "hip", "knee", "ankle")) for side in ("left", "right"))
SHOULDERS, HIP_PAIR = (SIDES[0][0], SIDES[1][0]), (SIDES[0][2], SIDES[1][2])


class AngleHead:
    """What to add to the angles by points: (FEATURES + 20,) -> (COUNT,) degrees. Raises MatsideError for a file that is no such head."""

    def __init__(self, path: Path) -> None:
        try:
            with np.load(path) as kept:
                self._mean, self._deviation = kept["mean"], kept["deviation"]
                self._layers = [(kept[f"weight_{k}"], kept[f"bias_{k}"]) for k in range(3)]
            told = self(np.zeros(FEATURES + 2 * len(JOINTS)))  # or its layers do not fit
            if len(told) != COUNT:
                raise ValueError(f"it tells {len(told)} angles, not {COUNT}")
        except (OSError, EOFError, BadZipFile, ValueError, KeyError) as error:
            raise MatsideError(f"{path}: not the angle head of the near look: {error}. Install Matside again.") from error

    def __call__(self, features: np.ndarray) -> np.ndarray:
        x = np.clip((features - self._mean) / self._deviation, -BEYOND, BEYOND)
        for k, (weight, bias) in enumerate(self._layers):
            x = x @ weight.T + bias
            if k < len(self._layers) - 1:
                x = x / (1 + np.exp(-x))  # SiLU
        return STEP * x


@lru_cache(maxsize=2)
def angle_head(path: Path) -> AngleHead:
    """The head in a file, read once."""
    return AngleHead(path)


def angles_by_points(xy: np.ndarray) -> np.ndarray:
    """(COUNT,) degrees of points (33, 2), x right and y down; the trunk runs between the middles of hips and shoulders."""
    trunk = xy[list(SHOULDERS)].mean(axis=0) - xy[list(HIP_PAIR)].mean(axis=0)
    out = []
    for shoulder, elbow, hip, knee, ankle in SIDES:
        out += [turn(trunk, xy[end] - xy[hip]) % 360 for end in (ankle, knee)]
        out += [joint_angle(xy[hip], xy[knee], xy[ankle]), joint_angle(xy[elbow], xy[shoulder], xy[hip])]
    return np.array(out)


def told_angles(head: AngleHead, points: np.ndarray, features: np.ndarray, *, mirrored: bool) -> np.ndarray:
    """(COUNT,) degrees as one look tells them of the body itself. points: (33, 2) of the crop as it was looked at; features: of that look, see
    `LandmarkNet.features`; mirrored: the crop was mirrored."""
    hips = points[list(HIP_PAIR)].mean(axis=0)
    trunk = np.hypot(*(points[list(SHOULDERS)].mean(axis=0) - hips))
    shape = (points[list(JOINTS)] - hips) / max(trunk, 8.0)
    angles = angles_by_points(points) + head(np.concatenate([features, shape.ravel()]))
    return as_unmirrored(angles) if mirrored else angles


def known_by(points: np.ndarray) -> np.ndarray:
    """(COUNT,) bool: whether every point that an angle is seen by is known. points: (33,) bool."""
    trunk = bool(points[[*SHOULDERS, *HIP_PAIR]].all())
    out = []
    for shoulder, elbow, hip, knee, ankle in SIDES:
        out += [trunk and points[[hip, end]].all() for end in (ankle, knee)]
        out += [points[[hip, knee, ankle]].all(), points[[elbow, shoulder, hip]].all()]
    return np.array(out, dtype=bool)


def as_unmirrored(angles: np.ndarray) -> np.ndarray:
    """Angles (COUNT,) of a mirrored body as those of the body itself."""
    out = np.roll(angles, len(ANGLES))
    out[list(HIPS)] = 360 - out[list(HIPS)]
    return out


def middle_angles(each: np.ndarray) -> np.ndarray:
    """(COUNT,) the mean of angles (n, COUNT) degrees of the same pose, 0..360; of one that no look tells inf where a look sees its joints
    elsewhere, else NaN."""
    known = np.isfinite(each)
    count = known.sum(axis=0)
    first = np.where(count > 0, np.take_along_axis(each, known.argmax(axis=0)[None], axis=0)[0], np.nan)
    off = (np.where(known, each, 0.0) - first + 180) % 360 - 180
    mean = (first + np.where(known, off, 0.0).sum(axis=0) / np.maximum(count, 1)) % 360
    return np.where((count == 0) & np.isinf(each).any(axis=0), np.inf, mean)
