"""A look at a pose from near by: a small network at crops four trunks wide about the hips, and the angles that it tells.

It is the family's small network, tuned for such crops of lunges and shoulder stands alone (models/CARD_NEAR.md), or of cartwheels alone
(cartwheels.py), and tells nothing of a person's being there: what it sees far from the track does not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.landmarks.crops import SIZE, Crop, cut
from pipeline.landmarks.models import LandmarkModel, inner_file
from pipeline.landmarks.near_angles import COUNT, AngleHead, angle_head, known_by, middle_angles, told_angles
from pipeline.landmarks.net import FEATURES, MIRROR, LandmarkNet
from pipeline.landmarks.paths import axes, torso
from pipeline.landmarks.refine import SAME_POINT
from pipeline.landmarks.track import INDEX, N

WIDE = 4.0  # trunks a side
INSIDE = 0.95  # of the way from the middle of the crop to its edge: a joint held further out is not moved


def _both(*parts: str) -> list[int]:
    return [INDEX[f"{side}_{part}"] for part in parts for side in ("left", "right")]


JOINTS = np.array(_both("shoulder", "elbow", "hip", "knee"))  # ankles, of real people too, it sees no better
WAYS = (False, True)


@dataclass(frozen=True)
class Near:
    """Who looks from near by."""

    net: LandmarkNet
    head: AngleHead

    @classmethod
    def load(cls, model: LandmarkModel) -> Near:
        """The network of a `models.near_model` or `models.cartwheel_model`, and its head."""
        assert model.head is not None
        return cls(LandmarkNet(inner_file(model)), angle_head(model.head.path))


@dataclass(frozen=True)
class NearLook:
    """What is seen of a body in one frame, plain and mirrored."""

    beside: np.ndarray  # (33, 2) how far beside where it is held each joint is seen, along the trunk's axes, in trunks; NaN where none is
    angles: np.ndarray  # (COUNT,) degrees, see `near_angles`: inf where joints in the crop are seen elsewhere, NaN where they lie beyond
    features: np.ndarray  # (2, FEATURES) what the network made of the plain and of the mirrored crop beyond its points


NOTHING = NearLook(np.full((N, 2), np.nan), np.full(COUNT, np.nan), np.full((2, FEATURES), np.nan))


def seen_near(near: Near, image: np.ndarray, body: np.ndarray) -> NearLook:
    """What is seen of a body (33, 2; pixels of the RGB picture) from near by, the mean of the looks that show it; NaN where none does, or
    somebody else's is seen."""
    size = float(torso(body))
    if not size > 0:
        return NOTHING
    crop = near_crop(body)
    out = np.abs(crop.to_crop(body) - (SIZE - 1) / 2).max(axis=1) / (SIZE / 2)
    pixels, looks, told, inside = cut(image, crop), [], [], []
    for mirrored in WAYS:
        seen_at = near.net.read(pixels, crop, mirrored=mirrored).xy
        beside = seen_at - body
        hers = np.linalg.norm(beside, axis=1) <= SAME_POINT * size
        looks.append(np.where((hers & (out < INSIDE))[:, None], beside, np.nan))
        points, features = crop.to_crop(seen_at), near.net.features()
        assert features is not None  # `Near.load` gives a network that tells them
        angles = told_angles(near.head, in_mirror(points) if mirrored else points, features, mirrored=mirrored)
        told.append(np.where(known_by(out < 1), np.where(known_by(hers), angles, np.inf), np.nan))
        inside.append(features)
    seen = np.full((N, 2), np.nan)
    seen[JOINTS] = mean_look(looks)[JOINTS]
    return NearLook(seen @ axes(body[None])[0].T / size, middle_angles(np.array(told)), np.array(inside))


def near_crop(body: np.ndarray) -> Crop:
    """The crop about a body's hips (33, 2; pixels), WIDE trunks a side and turned so that the trunk points up."""
    shoulders, hips = (body[_both(part)].mean(axis=0) for part in ("shoulder", "hip"))
    up = shoulders - hips
    return Crop(float(hips[0]), float(hips[1]), WIDE * float(np.hypot(*up)), float(np.arctan2(up[0], -up[1])))


def in_mirror(points: np.ndarray) -> np.ndarray:
    """Points (33, 2) of a crop as they lie in its mirror image, left as right."""
    out = points[MIRROR].copy()
    out[:, 0] = SIZE - 1 - out[:, 0]
    return out


def mean_look(looks: Sequence[np.ndarray]) -> np.ndarray:
    """(33, 2) the mean of looks (33, 2) each, of those that show a point; NaN for one that none shows."""
    each = np.array(looks)
    count = np.isfinite(each).sum(axis=0)
    return np.where(count > 0, np.nansum(each, axis=0) / np.maximum(count, 1), np.nan)
