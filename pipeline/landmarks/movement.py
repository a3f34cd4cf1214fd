"""Where in the picture things move: to look there more closely. The scene is held still with the camera's shift."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.spool import Spool

APART_S = 0.2  # seconds between the pictures compared
NOISE = 10.0  # grey levels a still picture may change by
ALWAYS = 0.3  # weight of where it moves at any time, beside where it moves now


class Movement:
    """Movement of a stretch as small maps, one for each frame asked for."""

    def __init__(self, spool: Spool, camera: np.ndarray, numbers: list[int]) -> None:
        """`camera` (n, 2) working-size pixels the scene has shifted; `numbers` the frames that will be asked for."""
        small = spool.grey(spool.first).shape
        self.ratio = max(spool.size) / max(small)
        t = np.asarray(spool.t)
        self._maps: dict[int, np.ndarray] = {}
        self._shift = camera / self.ratio
        self._first = spool.first
        whole = np.zeros(small, np.float32)
        for number in numbers:
            row = number - spool.first
            near = [int(np.argmin(np.abs(t - (t[row] + d)))) for d in (-APART_S, APART_S)]
            moved = np.zeros(small, np.float32)
            for other in near:
                if other != row:
                    moved = np.maximum(moved, self._difference(spool, row, other))
            self._maps[number] = moved
            whole += _shifted(moved, -self._shift[row])
        self._whole = whole / max(len(numbers), 1)

    def _difference(self, spool: Spool, row: int, other: int) -> np.ndarray:
        now, then = (spool.grey(spool.first + r).astype(np.float32) for r in (row, other))
        return np.maximum(np.abs(now - _shifted(then, self._shift[row] - self._shift[other])) - NOISE, 0)

    def windows(self, number: int, side: float, count: int) -> list[tuple[float, float, float, float]]:
        """At most `count` squares (x0, y0, x1, y1) of `side` working-size pixels in which most moves in this frame."""
        import cv2

        row = number - self._first
        heat = self._maps[number] + ALWAYS * _shifted(self._whole, self._shift[row])
        height, width = heat.shape
        half = side / self.ratio / 2
        out = []
        most = 0.0
        for _ in range(count):
            k = max(int(2 * half), 1)
            total = cv2.boxFilter(heat, -1, (k, k), normalize=False, borderType=cv2.BORDER_CONSTANT)
            total = cv2.GaussianBlur(total, (0, 0), 0.15 * k)
            y, x = np.unravel_index(int(total.argmax()), total.shape)
            if total[y, x] <= 0.3 * most or total[y, x] <= 0:
                break
            most = max(most, float(total[y, x]))
            cx, cy = (
                np.clip(x, min(half, width / 2), max(width - half, width / 2)),
                np.clip(y, min(half, height / 2), max(height - half, height / 2)),
            )
            out.append(tuple(float(v * self.ratio) for v in (cx - half, cy - half, cx + half, cy + half)))
            heat[max(int(cy - half), 0) : int(cy + half) + 1, max(int(cx - half), 0) : int(cx + half) + 1] = 0
        return out


def _shifted(picture: np.ndarray, shift: np.ndarray) -> np.ndarray:
    import cv2

    matrix = np.array([[1, 0, shift[0]], [0, 1, shift[1]]], np.float32)
    return cv2.warpAffine(picture, matrix, picture.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
