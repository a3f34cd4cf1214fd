"""How a hand-held camera moved: the shift of the whole picture, frame by frame."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.spool import Spool

LEAST_RESPONSE = 0.15  # of phase correlation; below it the picture is taken as still
EVERY_S = 0.1


def camera_shift(spool: Spool) -> np.ndarray:
    """(n, 2) working-size pixels the scene has moved since the stretch's first frame (subtract it to hold the scene still)."""
    import cv2

    n = len(spool)
    t = np.asarray(spool.t)
    shift = np.zeros((n, 2))
    if n < 2:
        return shift
    step = max(1, round(EVERY_S / max(float(np.median(np.diff(t))), 1e-3)))
    rows = np.unique([*range(0, n, step), n - 1])
    window = cv2.createHanningWindow(spool.grey(spool.first).shape[::-1], cv2.CV_32F)
    ratio = max(spool.size) / max(spool.grey(spool.first).shape)
    total = np.zeros((len(rows), 2))
    before = spool.grey(spool.first).astype(np.float32)
    for k, row in enumerate(rows[1:], start=1):
        now = spool.grey(spool.first + int(row)).astype(np.float32)
        moved, response = cv2.phaseCorrelate(before, now, window)
        total[k] = total[k - 1] + (np.array(moved) * ratio if response >= LEAST_RESPONSE else 0)
        before = now
    for axis in (0, 1):
        shift[:, axis] = np.interp(np.arange(n), rows, total[:, axis])
    return shift
