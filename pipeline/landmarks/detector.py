"""The person detector of the mediapipe wheel, run through LiteRT: bodies by their hips, shoulders and size.

It looks for faces and shoulders, so it sees people who stand more or less upright. Run by itself, it also gives the
weak candidates and every person, at the price of the detector alone. Anchors and decoding follow mediapipe's
`pose_detection_cpu` graph (224 x 224 input, strides 8, 16, 32, 32, 32, two anchors a cell, unit size).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

SIZE = 224
STRIDES = (8, 16, 32, 32, 32)
OVERLAP = 0.3  # boxes overlapping more are one person; mediapipe's own suppression threshold for this detector
AGREE = 0.2  # of the reach
HIPS, TOP, SHOULDERS = 0, 1, 2


@dataclass(frozen=True)
class Found:
    """One body in one picture, in its pixels."""

    score: float
    box: tuple[float, float, float, float]  # face and shoulders: x0, y0, x1, y1
    hips: np.ndarray  # (2,) middle of the hips
    top: np.ndarray  # (2,) top of the circle round the hips that holds the body
    shoulders: np.ndarray  # (2,) middle of the shoulders

    @property
    def reach(self) -> float:
        """Radius of the circle round the hips that holds the body, pixels."""
        return float(np.hypot(*(self.top - self.hips)))


def _anchors() -> np.ndarray:
    cells = []
    for stride in STRIDES:
        n = SIZE // stride
        y, x = np.mgrid[:n, :n]
        cells.append(np.repeat(np.stack([(x.ravel() + 0.5) / n, (y.ravel() + 0.5) / n], 1), 2, axis=0))
    return np.concatenate(cells)


class Detector:
    """Finds upright bodies in RGB pictures."""

    def __init__(self, path: Path) -> None:
        from ai_edge_litert.interpreter import Interpreter

        self._net = Interpreter(str(path), num_threads=1)
        self._net.allocate_tensors()
        self._input = self._net.get_input_details()[0]["index"]
        outputs = {int(d["shape"][-1]): d["index"] for d in self._net.get_output_details()}
        self._boxes, self._scores = outputs[12], outputs[1]
        self._anchors = _anchors()

    def __call__(self, image: np.ndarray, *, least: float = 0.5, region: tuple[float, float, float, float] | None = None) -> list[Found]:
        """Bodies in the picture, or in a region (x0, y0, x1, y1) of it, best first; `least` is the lowest score kept."""
        x0, y0, x1, y1 = region or (0, 0, image.shape[1], image.shape[0])
        side = max(x1 - x0, y1 - y0)
        corner = np.array([(x0 + x1 - side) / 2, (y0 + y1 - side) / 2])
        self._letterbox(image, corner, side, self._net.tensor(self._input)()[0])
        self._net.invoke()
        scores = 1 / (1 + np.exp(-np.clip(self._net.get_tensor(self._scores)[0, :, 0], -80, 80)))
        chosen = np.flatnonzero(scores >= least)
        raw = self._net.get_tensor(self._boxes)[0][chosen] / SIZE
        anchors = self._anchors[chosen]
        half = raw[:, 2:4] / 2
        middle = raw[:, :2] + anchors
        values = np.concatenate([middle - half, middle + half, (raw[:, 4:].reshape(-1, 4, 2) + anchors[:, None]).reshape(-1, 8)], 1)
        values = values * side + np.tile(corner, 6)
        return [_found(score, row) for score, row in _merged(scores[chosen], values)]

    @staticmethod
    def _letterbox(image: np.ndarray, corner: np.ndarray, side: float, out: np.ndarray) -> None:
        """Put the square from `corner` on into `out` (224, 224, 3) float32, -1 to 1; black beyond the picture."""
        import cv2

        scale = SIZE / side
        if scale < 0.5:  # average first, or small people break up
            step = int(1 / scale)
            image = cv2.resize(image, (image.shape[1] // step, image.shape[0] // step), interpolation=cv2.INTER_AREA)
            corner, scale = corner / step, scale * step
        matrix = np.array([[scale, 0, (0.5 - corner[0]) * scale - 0.5], [0, scale, (0.5 - corner[1]) * scale - 0.5]])
        small = cv2.warpAffine(image, matrix, (SIZE, SIZE), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        np.divide(small, np.float32(127.5), out=out, dtype=np.float32)
        out -= 1


def _merged(scores: np.ndarray, values: np.ndarray) -> list[tuple[float, np.ndarray]]:
    """Overlapping boxes joined by their score-weighted mean (weighted non-maximum suppression), best first.

    Only boxes that also agree on hips and shoulders are averaged: of two people side by side no third one is made.
    """
    left, out = list(np.argsort(-scores)), []
    while left:
        best = left[0]
        same = [i for i in left if _overlap(values[best], values[i]) > OVERLAP] or [best]
        agree = [i for i in same if _apart(values[best], values[i]) < AGREE]
        out.append((float(scores[best]), np.average(values[agree], axis=0, weights=scores[agree])))
        left = [i for i in left if i not in set(same)]
    return out


def _apart(a: np.ndarray, b: np.ndarray) -> float:
    """How far hips and shoulders of two candidates are apart, in the reach of the first."""
    hips, top, shoulders = a[4:6], a[6:8], a[8:10]
    return float(max(np.hypot(*(hips - b[4:6])), np.hypot(*(shoulders - b[8:10]))) / max(np.hypot(*(top - hips)), 1.0))


def _overlap(a: np.ndarray, b: np.ndarray) -> float:
    width, height = np.minimum(a[2:4], b[2:4]) - np.maximum(a[:2], b[:2])
    if width <= 0 or height <= 0:
        return 0.0
    both = width * height
    return float(both / (np.prod(a[2:4] - a[:2]) + np.prod(b[2:4] - b[:2]) - both))


def _found(score: float, row: np.ndarray) -> Found:
    points = row[4:].reshape(4, 2)
    return Found(score, tuple(float(v) for v in row[:4]), points[HIPS], points[TOP], points[SHOULDERS])
