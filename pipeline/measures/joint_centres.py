"""Landmarks moved to the joints' centres: models mark shoulders high and hips to the front, by habit and not by chance."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np

from pipeline.geometry import middle
from pipeline.landmarks.track import INDEX

TABLE = Path(__file__).with_name("joint_offsets.csv")
SIDES = ("left", "right")
# the segment that gives each point its "up": from the second joint to the first; the trunk is taken between the middles
SEGMENT = {"shoulder": None, "hip": None, "knee": ("knee", "ankle"), "ankle": ("knee", "ankle")}


@lru_cache(maxsize=4)
def joint_offsets(path: Path = TABLE) -> dict[str, tuple[float, float]]:
    """point -> (up, front), shares of the trunk."""
    with path.open(encoding="utf-8") as lines:
        rows = csv.DictReader(line for line in lines if not line.startswith("#"))
        return {r["point"]: (float(r["up"]) / 100, float(r["front"]) / 100) for r in rows}


def segment_up(xy: np.ndarray, point: str, side: str) -> np.ndarray:
    """(n, 2) unit vector along a point's segment, towards the head."""
    ends = SEGMENT[point]
    if ends is None:
        upper = middle(xy[:, INDEX["left_shoulder"]], xy[:, INDEX["right_shoulder"]])
        lower = middle(xy[:, INDEX["left_hip"]], xy[:, INDEX["right_hip"]])
    else:
        upper, lower = (xy[:, INDEX[f"{side}_{end}"]] for end in ends)
    v = upper - lower
    with np.errstate(invalid="ignore", divide="ignore"):
        return v / np.linalg.norm(v, axis=-1, keepdims=True)


def front_of(up: np.ndarray, facing: int) -> np.ndarray:
    """(n, 2) unit vector to the body's front, square to `up`; facing as in `signed_angle`, 0 where the front is to the camera."""
    return facing * np.stack([-up[:, 1], up[:, 0]], axis=-1)


def to_joint_centres(xy: np.ndarray, unit: float, facing: int, offsets: Mapping[str, tuple[float, float]]) -> np.ndarray:
    """The points (n, 33, 2) with the known offsets taken off; where a segment is not seen its points stay as they are.

    unit: pixels a trunk. facing: +1 or -1 in views from the side, 0 in views from the front, where no front can be shown.
    """
    out = xy.copy()
    for point, (up_by, front_by) in offsets.items():
        for side in SIDES:
            up = segment_up(xy, point, side)
            shift = unit * (up_by * up + front_by * front_of(up, facing))
            i = INDEX[f"{side}_{point}"]
            out[:, i] = xy[:, i] - np.where(np.isfinite(shift), shift, 0.0)
    return out
