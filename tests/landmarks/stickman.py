"""Drawn people for the landmark tests: 33 points of a simple body, and people and passes made of them."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.join import Person
from pipeline.landmarks.paths import PLACES, Path
from pipeline.landmarks.track import NAMES, N

UPRIGHT = {  # torsos, hips' middle at the origin, y down, facing the camera
    "shoulder": (0.3, -1.0), "elbow": (0.4, -0.5), "wrist": (0.45, -0.05), "pinky": (0.47, 0.1), "index": (0.45, 0.12),
    "thumb": (0.42, 0.08), "hip": (0.2, 0.0), "knee": (0.22, 0.8), "ankle": (0.24, 1.6), "heel": (0.22, 1.7),
    "foot_index": (0.3, 1.75), "ear": (0.12, -1.35), "eye_inner": (0.03, -1.4), "eye": (0.05, -1.4), "eye_outer": (0.07, -1.4),
}  # fmt: skip


def body(x: float, y: float, size: float, turn_deg: float = 0.0) -> np.ndarray:
    """(33, 2) an upright body with its hips at (x, y), `size` pixels from hips to shoulders, turned clockwise."""
    points = np.zeros((N, 2))
    for i, name in enumerate(NAMES):
        if name == "nose":
            points[i] = 0, -1.38
        elif name.startswith("mouth"):
            points[i] = 0.04 if name.endswith("left") else -0.04, -1.3
        else:
            side, part = name.split("_", 1)
            px, py = UPRIGHT[part]
            points[i] = (px if side == "left" else -px), py
    a = np.radians(turn_deg)
    return points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) * size + [x, y]


def wearing(lab: tuple[float, float, float], n: int, seed: int = 0) -> np.ndarray:
    """(n, 26, 3) one colour all over, in changing light."""
    return (np.array(lab) + np.random.default_rng(seed).normal(0, 3, (n, PLACES, 3))).astype(np.float32)


def path_of(xy: np.ndarray, *, step: int = 1, peak: float = 0.9, clothes: np.ndarray | None = None) -> Path:
    """A pass that saw these points; NaN rows are frames it did not follow."""
    n = len(xy)
    path = Path.empty(0, n, step)
    path.xy[:] = xy
    seen = np.isfinite(xy[:, 0, 0])
    path.looked[:] = seen
    path.peak[seen], path.visibility[seen], path.z[seen], path.presence[seen] = peak, 1.0, 0.0, 1.0
    if clothes is not None:
        path.clothes[seen] = clothes[seen]
    return path


def person_of(xy: np.ndarray, clothes: np.ndarray | None = None) -> Person:
    """A followed person with these points."""
    n = len(xy)
    full = np.ones((n, N))
    seen = np.isfinite(xy[:, 0, 0])
    worn = np.full((n, PLACES, 3), np.nan, np.float32)
    if clothes is not None:
        worn[seen] = clothes[seen]
    return Person(
        0, xy.copy(), 0 * full, full.copy(), full.copy(), np.ones(n), 0 * full, np.where(seen, 0, -1), looked=seen.copy(), clothes=worn
    )
