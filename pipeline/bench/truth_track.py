"""The true joints of a rendered clip as a Track: what measures would get from landmarks without error."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipeline.bench.follow_check import depths, read_truth
from pipeline.landmarks.track import INDEX, Track


def truth_track(file: Path, size: tuple[int, int]) -> Track:
    """The Track of a truth CSV (see sample_data/README.md for its columns): exact picture points, depth in the same pixels.

    size: (width, height) of the clip.
    """
    t, xy, world = read_truth(file)
    far = depths(xy, world)  # up to scale
    hips = [INDEX["left_hip"], INDEX["right_hip"]]
    middle = far[:, hips].mean(axis=1, keepdims=True)
    scale = _pixels_a_metre(xy, world)
    unit = _metres_a_unit(far - middle, world)
    z = (far - middle) * unit * scale[:, None]
    ones = np.ones(xy.shape[:2])
    return Track(t, xy, z, ones, np.ones(len(t)), np.full(xy.shape[:2], np.nan), size, file.stem)


def _pixels_a_metre(xy: np.ndarray, world: np.ndarray) -> np.ndarray:
    """(n,) picture scale at the athlete: the largest ratio over long segments, for they are only ever foreshortened."""
    pairs = [("left_shoulder", "left_hip"), ("right_shoulder", "right_hip"), ("left_hip", "left_knee"), ("right_hip", "right_knee"),
             ("left_knee", "left_ankle"), ("right_knee", "right_ankle"), ("left_shoulder", "left_elbow"), ("right_shoulder", "right_elbow")]  # fmt: skip
    seen = np.stack([np.linalg.norm(xy[:, INDEX[a]] - xy[:, INDEX[b]], axis=-1) for a, b in pairs])
    real = np.stack([np.linalg.norm(world[:, INDEX[a]] - world[:, INDEX[b]], axis=-1) for a, b in pairs])
    return np.full(xy.shape[0], np.nanquantile(seen / real, 0.95))


def _metres_a_unit(far: np.ndarray, world: np.ndarray) -> float:
    """Metres a unit of relative depth: the view's direction is the one along which world points differ most like their depths."""
    hips = world[:, [INDEX["left_hip"], INDEX["right_hip"]]].mean(axis=1, keepdims=True)
    away, depth = (world - hips).reshape(-1, 3), far.reshape(-1)
    ok = np.isfinite(away).all(axis=1) & np.isfinite(depth)
    slope = np.linalg.lstsq(away[ok], depth[ok], rcond=None)[0]
    return float(1 / np.linalg.norm(slope))
