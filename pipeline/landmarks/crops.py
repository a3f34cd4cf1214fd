"""The turned square a landmark model looks at: cut from the picture, and points carried back."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

SIZE = 256  # pixels of the model's input
REACH = 2.5  # side of the crop per distance from hips to the farthest reach: 1.25 times its diameter, what the family was trained on


@dataclass(frozen=True)
class Crop:
    """A square of the picture: its middle and side in picture pixels, and how far "up" is turned (radians, clockwise)."""

    x: float
    y: float
    side: float
    angle: float

    @cached_property
    def matrix(self) -> np.ndarray:
        """(2, 3) crop pixels -> picture pixels; the middle of the crop's pixel grid is its centre."""
        scale = self.side / SIZE
        cos, sin = np.cos(self.angle) * scale, np.sin(self.angle) * scale
        middle = (SIZE - 1) / 2
        return np.array([[cos, -sin, self.x - (cos - sin) * middle], [sin, cos, self.y - (sin + cos) * middle]])

    def to_picture(self, points: np.ndarray) -> np.ndarray:
        """(..., 2) crop pixels -> picture pixels."""
        matrix = self.matrix
        return points @ matrix[:, :2].T + matrix[:, 2]

    def to_crop(self, points: np.ndarray) -> np.ndarray:
        """(..., 2) picture pixels -> crop pixels."""
        matrix = self.matrix
        return (points - matrix[:, 2]) @ (matrix[:, :2] * (SIZE / self.side) ** 2)  # a turn's inverse is its transpose


def between(centre: np.ndarray, top: np.ndarray) -> Crop:
    """The crop of a body from its two steering points: middle of the hips, and the top of the circle that holds the body."""
    up = np.asarray(top, float) - np.asarray(centre, float)
    return Crop(float(centre[0]), float(centre[1]), REACH * float(np.hypot(*up)), float(np.arctan2(up[0], -up[1])))


def cut(image: np.ndarray, crop: Crop) -> np.ndarray:
    """(256, 256, 3) uint8 of an RGB picture; beyond its edge the edge is repeated."""
    import cv2

    matrix = crop.matrix
    shrink = crop.side / SIZE
    flags = cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR
    if shrink > 2:  # average first, or fine lines break up
        step = int(shrink)
        image = cv2.resize(image, (max(image.shape[1] // step, 1), max(image.shape[0] // step, 1)), interpolation=cv2.INTER_AREA)
        half = np.array([[0, 0, 0.5], [0, 0, 0.5]])  # pixels are counted from their middles
        matrix = (matrix + half) / step - half
    return cv2.warpAffine(image, matrix, (SIZE, SIZE), flags=flags, borderMode=cv2.BORDER_REPLICATE)
