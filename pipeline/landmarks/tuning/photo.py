"""A clean drawing -> what a phone would have stored: exposure, blur, noise, small size, compression. Images are float32 0..1 RGB."""

from __future__ import annotations

import cv2
import numpy as np


def _expose(image: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    bright = np.percentile(image[::4, ::4], 95)
    image = image * max(1, rng.uniform(0.3, 0.7) / max(bright, 0.03))
    image = np.power(np.clip(image, 0, 1), 1 / (1.35 * np.exp(rng.normal(0, 0.2))))
    image = image * (rng.uniform(0.75, 1.2) * (1 + rng.normal(0, 0.03, 3))).astype(np.float32)
    return (image - 0.5) * rng.uniform(0.85, 1.2) + 0.5


def _streak(image: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Blur along a line, as by a moving phone."""
    n, angle = int(rng.integers(3, 14)), rng.uniform(0, np.pi)
    kernel, middle = np.zeros((n, n), np.float32), (n - 1) / 2
    dx, dy = np.cos(angle) * middle, np.sin(angle) * middle
    ends = [(round(middle + s * dx), round(middle + s * dy)) for s in (-1, 1)]
    cv2.line(kernel, *ends, 1, 1)
    return cv2.filter2D(image, -1, kernel / kernel.sum())


def _spin(image: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Blur along circles round the middle, as a rolling athlete leaves."""
    size, reach = image.shape[0], rng.uniform(1.0, 4.0)
    turned = [
        cv2.warpAffine(image, cv2.getRotationMatrix2D((size / 2, size / 2), a, 1), (size, size), borderMode=cv2.BORDER_REPLICATE)
        for a in np.linspace(-reach, reach, 5)
    ]
    return np.mean(turned, axis=0, dtype=np.float32)


def _squeeze(image: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.uniform(22, 92))]
    return cv2.imdecode(cv2.imencode(".jpg", (np.clip(image, 0, 1) * 255).astype(np.uint8), quality)[1], 1).astype(np.float32) / 255


def small_side(rng: np.random.Generator) -> int:
    """Pixels of the crop in the phone's picture; 0 for at least as many as the model takes."""
    return int(rng.uniform(64, 230)) if rng.random() < 0.45 else 0


def develop(image: np.ndarray, rng: np.random.Generator, *, side: int = 0, gentle: bool = False) -> np.ndarray:
    """(s, s, 3) -> (s, s, 3) uint8. `side` from `small_side`; gentle: exposure only."""
    image = _expose(image, rng)
    if not gentle:
        size = image.shape[0]
        if side:
            image = cv2.resize(image, (side, side), interpolation=cv2.INTER_AREA)
        if rng.random() < (0.12 if side else 0.3):
            image = cv2.GaussianBlur(image, (0, 0), rng.uniform(0.4, 1.5))
        if rng.random() < 0.16:
            image = _streak(image, rng)
        elif rng.random() < 0.1:
            image = _spin(image, rng)
        if rng.random() < 0.15:  # phones sharpen
            image = image + rng.uniform(0.2, 1.0) * (image - cv2.GaussianBlur(image, (0, 0), 1.2))
        if rng.random() < 0.7:
            image = image + np.float32(rng.uniform(0.002, 0.035)) * rng.standard_normal(image.shape, dtype=np.float32)
        if rng.random() < 0.05:
            image = np.repeat((image @ np.array([0.3, 0.6, 0.1], np.float32))[:, :, None], 3, 2)
        if rng.random() < 0.6:
            image = _squeeze(image, rng)
        if side:
            image = cv2.resize(image, (size, size), interpolation=cv2.INTER_LINEAR)
    return (np.clip(image, 0, 1) * 255 + 0.5).astype(np.uint8)
