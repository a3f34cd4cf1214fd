"""Poses drawn for the near look: holds from the side, or cartwheels from the front or from behind, the trunk upright in the crop, room round it
for any near view."""

from __future__ import annotations

import numpy as np

from .bodies import Bodies
from .draw import Artist, Crop
from .near_store import FINE, WIDE
from .poses import Kind
from .scene import Camera

KINDS = {"holds": (Kind.LUNGE, Kind.SHOULDER_STAND), "cartwheels": (Kind.CARTWHEEL,)}  # by what is shown, each as often
FROM_BEHIND = 0.3  # share of cartwheels
OFF_SQUARE = 34.0  # degrees, at most
TILT = 2.5  # degrees, of the trunk in the crop
OFF = 0.03  # trunks, of the hips from the crop's middle
UNEVEN = 0.04  # of a crop's side, its logarithm
COARSE, COARSE_SIDES = 0.65, (130, 420)  # share of crops that the phone's picture has fewer pixels of than are drawn, and how many


class NearArtist(Artist):
    """Draws crops WIDE trunks wide, turned so that the trunk points up, the middle of the hips in the middle. shown: one of KINDS."""

    FINE = FINE

    def __init__(self, bodies: Bodies, members: list[int], seed, shown: str = "holds") -> None:
        super().__init__(bodies, members, seed)
        self.kinds = KINDS[shown]

    def any_kind(self) -> Kind:
        return self.kinds[int(self.rng.integers(len(self.kinds)))]

    def _camera(self, kind: Kind, middle: np.ndarray, height: float) -> Camera:
        rng = self.rng
        square = 180 * (rng.random() < FROM_BEHIND) if kind is Kind.CARTWHEEL else 90 * rng.choice([-1, 1])
        azimuth = np.deg2rad(square + rng.uniform(-OFF_SQUARE, OFF_SQUARE))
        far = rng.uniform(2.2, 7.0) * max(0.7, height / 1.6)
        eye = np.array([np.sin(azimuth) * far, -np.cos(azimuth) * far, rng.uniform(0.4, 1.6)])
        return Camera.looking(eye, middle + rng.normal(0, 0.12, 3), rng.normal(0, 3))

    def _crop(self, kind: Kind, flat: np.ndarray, hips: np.ndarray, radius: float, gentle: bool) -> tuple[Crop, float]:
        rng = self.rng
        up = flat[[11, 12]].mean(0) - hips
        tilt, trunk = np.deg2rad(rng.normal(0, TILT)), np.linalg.norm(up)
        middle = hips + rng.normal(0, OFF, 2) * trunk
        return Crop(middle, np.arctan2(up[0], -up[1]) + tilt, WIDE * trunk * np.exp(rng.normal(0, UNEVEN))), tilt

    def _phone_side(self) -> int:
        return int(self.rng.uniform(*COARSE_SIDES)) if self.rng.random() < COARSE else 0
