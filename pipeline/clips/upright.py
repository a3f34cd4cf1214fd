"""How the stored picture is turned and mirrored to stand upright."""

from __future__ import annotations

from dataclasses import dataclass

import av
import numpy as np

Box = tuple[float, float, float, float]  # left, top, right, bottom


@dataclass(frozen=True)
class Upright:
    """How stored pixels become the shown picture: swap the axes, then mirror."""

    transpose: bool = False
    flip_x: bool = False
    flip_y: bool = False

    @classmethod
    def of(cls, frame: av.VideoFrame) -> Upright:
        """From the frame's display matrix, which sends (x, y) to (a x + c y, b x + d y)."""
        try:
            matrix = np.frombuffer(bytes(frame.side_data["DISPLAYMATRIX"]), "<i4").reshape(3, 3)  # type: ignore[typeddict-item]
        except (KeyError, ValueError):
            return cls()
        (a, b), (c, d) = matrix[:2, :2].astype(float)
        if abs(b) + abs(c) > abs(a) + abs(d):
            return cls(True, c < 0, b < 0)
        return cls(False, a < 0, d < 0)

    @property
    def rotation(self) -> int:
        """Degrees clockwise; of a mirrored picture, the turn that stays after mirroring left to right."""
        if self.transpose:
            return 90 if not self.flip_y else 270
        return 180 if self.flip_y else 0

    def apply(self, image: np.ndarray) -> np.ndarray:
        """(h, w, ...) pixels as stored -> the same as they are to be shown, contiguous; sides change places where the picture stands."""
        if self.transpose:
            image = image.swapaxes(0, 1)
        return np.ascontiguousarray(image[:: -1 if self.flip_y else 1, :: -1 if self.flip_x else 1])

    def stored(self, box: Box, size: tuple[int, int]) -> Box:
        """Where a part of the upright picture of `size` (width, height) lies in the stored one."""
        left, top, right, bottom = box
        if self.flip_x:
            left, right = size[0] - right, size[0] - left
        if self.flip_y:
            top, bottom = size[1] - bottom, size[1] - top
        return (top, left, bottom, right) if self.transpose else (left, top, right, bottom)
