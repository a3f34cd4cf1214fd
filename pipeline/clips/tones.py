"""Pictures of high dynamic range brought to what a plain screen shows, as all of the models and pages expect it.

Sources: SMPTE ST 2084 (PQ), ITU-R BT.2100-2 table 5 (HLG), BT.2408-7 (reference white at 203 cd/m2), BT.2087-0 (primaries). The primaries
are changed on the coded values, which is not exact and a tenth of the work; bright light above the white is pressed together.
"""

from __future__ import annotations

from functools import cache

import numpy as np

PQ, HLG = 16, 18  # FFmpeg's numbers of the transfer characteristics (ITU-T H.273)
WHITE, SCREEN_GAMMA = 203.0, 2.2
KNEE = 0.8  # of white; what is brighter is pressed together
# BT.2020 to BT.709, linear light (BT.2087-0, section 2)
PRIMARIES = np.array([[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]], np.float32)


def plain(image: np.ndarray, transfer: int) -> np.ndarray:
    """(h, w, 3) uint8 RGB as a plain screen shows it; the image itself where it is not of high dynamic range."""
    if transfer not in (PQ, HLG):
        return image
    import cv2

    return cv2.transform(cv2.LUT(image, tones(transfer)), PRIMARIES)


@cache
def tones(transfer: int) -> np.ndarray:
    """(256,) uint8: what each coded value becomes."""
    code = np.arange(256) / 255
    light = (pq_light(code) if transfer == PQ else hlg_light(code)) / WHITE
    pressed = np.where(light > KNEE, KNEE + (1 - KNEE) * (1 - np.exp(-(light - KNEE) / (1 - KNEE))), light)
    return np.rint(255 * pressed ** (1 / SCREEN_GAMMA)).astype(np.uint8)


def pq_light(code: np.ndarray) -> np.ndarray:
    """cd/m2 of PQ values 0 to 1."""
    m1, m2, c1, c2, c3 = 2610 / 16384, 2523 / 32, 3424 / 4096, 2413 / 128, 2392 / 128
    root = code ** (1 / m2)
    return 10_000 * (np.maximum(root - c1, 0) / (c2 - c3 * root)) ** (1 / m1)


def hlg_light(code: np.ndarray) -> np.ndarray:
    """cd/m2 of HLG values 0 to 1 on a display of 1,000 cd/m2, for which the system's gamma is 1.2."""
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    scene = np.where(code <= 0.5, code**2 / 3, (np.exp((code - c) / a) + b) / 12)
    return 1000 * scene**1.2
