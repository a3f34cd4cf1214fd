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


def develop(picture: np.ndarray, phone: Phone, rng: np.random.Generator) -> np.ndarray:
    """(h, w, 3) uint8 as the phone would store it; picture : (h, w, 3) uint8 or float, 0..255."""
    import cv2

    x = picture.astype(np.float32)
    gain = np.array([1 + phone.warmth, 1.0, 1 - phone.warmth], np.float32) * np.float32(phone.exposure)
    x = (x * gain - 110) * np.float32(phone.contrast) + 110
    if phone.soft > 0.05:
        x = cv2.GaussianBlur(x, (0, 0), phone.soft)
    if phone.noise > 0:
        grain = np.empty(x.shape[:2], np.int16)
        cv2.setRNGSeed(int(rng.integers(1 << 31)))
        cv2.randn(grain, 0, 8 * phone.noise)
        x += grain[:, :, None].astype(np.float32) / 8
    return np.clip(x, 0, 255).astype(np.uint8)
