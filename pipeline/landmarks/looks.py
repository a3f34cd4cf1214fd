"""What a person wears, as a few colours: to know an athlete again who was out of sight."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.join import Person
from pipeline.landmarks.paths import CORE, torso
from pipeline.landmarks.spool import Spool
from pipeline.landmarks.track import INDEX

SAMPLES = 9  # frames looked at, spread over the time the person was seen
SAME_COLOURS = 14.0  # mean difference (CIE 1976 delta E, 2.3 is just noticeable) up to which clothes may be the same
SAME_SIZE = 1.4  # ratio of torso lengths
_ALONG, _ACROSS = np.meshgrid([0.2, 0.4, 0.6, 0.8], [0.3, 0.5, 0.7])


def colours(spool: Spool, person: Person) -> np.ndarray:
    """(3, 3) CIE Lab of chest, belly and thighs: medians over samples and frames; NaN where never seen."""
    import cv2

    rows = np.flatnonzero(person.valid)
    if not len(rows):
        return np.full((3, 3), np.nan)
    seen: list[np.ndarray] = []
    for row in rows[np.linspace(0, len(rows) - 1, min(SAMPLES, len(rows))).astype(int)]:
        xy = person.xy[row]
        image = spool[person.first + int(row)]
        left, right = xy[CORE[[0, 2]]], xy[CORE[[1, 3]]]  # shoulder, hip
        trunk = _grid(left[0], left[1], right[0], right[1])
        thighs = np.concatenate(
            [xy[INDEX[f"{s}_hip"]] + np.outer([0.3, 0.5, 0.7], xy[INDEX[f"{s}_knee"]] - xy[INDEX[f"{s}_hip"]]) for s in ("left", "right")]
        )
        groups = (trunk[_ALONG.ravel() < 0.5], trunk[_ALONG.ravel() > 0.5], thighs)
        seen.append(np.array([np.median(_pixels(image, g), axis=0) for g in groups]))
    rgb = np.nanmedian(np.array(seen), axis=0)
    return cv2.cvtColor((rgb[None] / 255).astype(np.float32), cv2.COLOR_RGB2LAB)[0]


def could_be_one(a: tuple[np.ndarray, float], b: tuple[np.ndarray, float]) -> bool:
    """Two people's (colours, torso length): the same clothes and size, so that one may be the other later on."""
    difference = float(np.nanmean(np.linalg.norm(a[0] - b[0], axis=1)))
    return difference < SAME_COLOURS and max(a[1], b[1]) < SAME_SIZE * min(a[1], b[1])


def size_of(person: Person) -> float:
    """Torso length in working pixels, as long as it mostly looks."""
    return float(np.percentile(torso(person.xy[person.valid]), 75))


def _grid(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Points inside the quadrilateral a-b (one side), c-d (the other)."""
    along, across = _ALONG.ravel()[:, None], _ACROSS.ravel()[:, None]
    return (a + along * (b - a)) * (1 - across) + (c + along * (d - c)) * across


def _pixels(image: np.ndarray, points: np.ndarray) -> np.ndarray:
    inside = np.round(points).astype(int)
    height, width = image.shape[:2]
    return image[np.clip(inside[:, 1], 0, height - 1), np.clip(inside[:, 0], 0, width - 1)].astype(float)
