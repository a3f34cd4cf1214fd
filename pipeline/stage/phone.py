"""What a phone's camera does to a picture: exposure, softness, noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Phone:
    """How good the camera and the light are."""

    exposure: float = 1.25
    warmth: float = 0.0  # -0.1 cold .. 0.1 warm
    soft: float = 0.5  # blur, sigma in pixels
    noise: float = 2.0  # standard deviation in grey levels
    contrast: float = 1.0
    shutter: int = 1  # sub-moments averaged for motion blur (1, 3 or 5, each 1/120 s)


class Darkroom:
    """Turns drawn pictures into a phone's, frame by frame; the grain is drawn once and shifted about."""

    def __init__(self, phone: Phone, width: int, height: int, rng: np.random.Generator) -> None:
        self.phone, self.rng = phone, rng
        gain = np.array([1 + phone.warmth, 1.0, 1 - phone.warmth]) * phone.exposure
        levels = (np.arange(256)[:, None] * gain - 110) * phone.contrast + 110
        self.levels = np.clip(levels, 0, 255).astype(np.uint8)[:, None, :]
        self.grain = np.rint(rng.normal(0, phone.noise, (height + 97, width + 89))).astype(np.int16)

    def develop(self, picture: np.ndarray) -> np.ndarray:
        """(h, w, 3) uint8 as the phone would store it; picture : (h, w, 3) uint8 as drawn."""
        import cv2

        h, w = picture.shape[:2]
        x = cv2.LUT(np.ascontiguousarray(picture), self.levels)
        if self.phone.soft > 0.05:
            x = cv2.GaussianBlur(x, (0, 0), self.phone.soft)
        if self.phone.noise > 0:
            top, left = self.rng.integers(97), self.rng.integers(89)
            x = cv2.add(x, cv2.merge([self.grain[top : top + h, left : left + w]] * 3), dtype=cv2.CV_8U)
        return x
