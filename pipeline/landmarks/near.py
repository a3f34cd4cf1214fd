"""A look at a held pose from near by: a small network at crops three trunks wide, about the hips, in a lunge about shoulders and knees too.

It is the family's small network, tuned for such crops of lunges and shoulder stands alone (models/CARD_NEAR.md), and tells nothing of a
person's being there: what it sees far from the track does not count.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.landmarks.crops import SIZE, Crop, cut
from pipeline.landmarks.net import LandmarkNet
from pipeline.landmarks.paths import axes, torso
from pipeline.landmarks.refine import SAME_POINT
from pipeline.landmarks.track import INDEX, N

WIDE = 3.0  # trunks a side
INSIDE = 0.95  # of the way from the middle of the crop to its edge: a joint held further out is not looked for in it


def _both(*parts: str) -> list[int]:
    return [INDEX[f"{side}_{part}"] for part in parts for side in ("left", "right")]


JOINTS = np.array(_both("shoulder", "elbow", "hip", "knee"))  # ankles, of real people too, it sees no better
WAYS = (False, True)


def seen_near(net: LandmarkNet, image: np.ndarray, body: np.ndarray) -> np.ndarray:
    """(33, 2) how far beside where it is held (33, 2; pixels of the RGB picture) each joint is seen, along the trunk's axes, in trunks: the mean
    of all looks that show it. NaN where none does, or somebody else's is seen."""
    size = float(torso(body))
    if not size > 0:
        return np.full((N, 2), np.nan)
    looks = []
    for crop, joints in crops(body):
        pixels = cut(image, crop)
        for mirrored in WAYS:
            beside = np.full((N, 2), np.nan)
            beside[joints] = net.read(pixels, crop, mirrored=mirrored).xy[joints] - body[joints]
            looks.append(np.where((np.linalg.norm(beside, axis=1) <= SAME_POINT * size)[:, None], beside, np.nan))
    return mean_look(looks) @ axes(body[None])[0].T / size


def mean_look(looks: Sequence[np.ndarray]) -> np.ndarray:
    """(33, 2) the mean of looks (33, 2) each, of those that show a point; NaN for one that none shows."""
    each = np.array(looks)
    count = np.isfinite(each).sum(axis=0)
    return np.where(count > 0, np.nansum(each, axis=0) / np.maximum(count, 1), np.nan)


def crops(body: np.ndarray) -> Iterator[tuple[Crop, np.ndarray]]:
    """Each crop of a body (33, 2; pixels) and the joints to look for in it: about the hips; of who has her feet under her about the shoulders
    and the knees too."""
    shoulders, hips, ankles = (body[_both(part)].mean(axis=0) for part in ("shoulder", "hip", "ankle"))
    up = shoulders - hips
    side = WIDE * float(np.hypot(*up))
    feet_under_her = ankles[1] > hips[1]
    for at in (hips, shoulders, *body[_both("knee")]) if feet_under_her else (hips,):
        crop = Crop(float(at[0]), float(at[1]), side, float(np.arctan2(up[0], -up[1])))
        away = np.abs(crop.to_crop(body[JOINTS]) - (SIZE - 1) / 2).max(axis=1)
        yield crop, JOINTS[away < INSIDE * SIZE / 2]
