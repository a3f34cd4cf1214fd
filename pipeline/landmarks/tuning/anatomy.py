"""A posed body -> the 33 landmarks in the world: the joint centres themselves, and skin points for face, ears, heels and toes."""

from __future__ import annotations

import numpy as np

from .bodies import Bodies
from .skeleton import SIDES, Posed

# How deep a landmark may lie under the first surface seen in its direction and still count as seen, metres of a 1.7 m body.
DEPTH = np.array(
    [0.05, 0.03, 0.03, 0.03, 0.03, 0.03, 0.03, 0.05, 0.05, 0.03, 0.03, 0.06, 0.06, 0.045, 0.045, 0.03, 0.03, 0.025, 0.025, 0.025, 0.025, 0.025, 0.025,
     0.11, 0.11, 0.06, 0.06, 0.04, 0.04, 0.03, 0.03, 0.025, 0.025]
)  # fmt: skip

# landmark of the left side -> (bone whose beginning it is, bone that carries the family's offset)
_LEFT = {
    11: ("upperarm01", None), 13: ("lowerarm01", "upperarm01"), 15: ("wrist", "lowerarm01"), 17: ("finger5-1", "wrist"), 19: ("finger2-1", "wrist"),
    21: ("finger1-2", "wrist"), 23: ("upperleg01", None), 25: ("lowerleg01", "upperleg01"), 27: ("foot", "lowerleg01"),
}  # fmt: skip


def landmarks(bodies: Bodies, posed: Posed, skin_points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """World points (33, 3) and the rotation (33, 3, 3) of the segment each belongs to. skin_points: the skinned mesh (v, 3)."""
    rotation, index, surface = posed.rotation, bodies.index, bodies.surface
    points, frames = np.zeros((33, 3)), np.tile(np.eye(3), (33, 1, 1))
    head = rotation[index["head"]]
    frames[:11] = head
    left, right = posed.joint("eye.L"), posed.joint("eye.R")
    scale = np.linalg.norm(left - right) / 0.056
    forward, outward = head @ np.array([0, -0.018, 0]) * scale, head @ np.array([0.013, 0, 0]) * scale
    nose = skin_points[surface["nose"]]
    points[0] = nose
    for first, eye, sign in ((1, left, 1), (4, right, -1)):
        points[first : first + 3] = [eye + forward + sign * k * outward for k in (-1, 0, 1)]
    points[7], points[8] = skin_points[surface["ear.L"]], skin_points[surface["ear.R"]]
    for j, sign in ((9, 1), (10, -1)):
        points[j] = nose + head @ np.array([sign * 0.024, 0.02, -0.032]) * scale
    for k, (side, _) in enumerate(SIDES):
        for j, (bone, carrier) in _LEFT.items():
            points[j + k] = posed.joint(f"{bone}.{side}")
            frames[j + k] = rotation[index[f"{carrier}.{side}"]] if carrier else rotation[index["spine01"] if j == 11 else 0]
        points[29 + k], points[31 + k] = skin_points[surface[f"heel.{side}"]], skin_points[surface[f"toe.{side}"]]
        frames[29 + k] = frames[31 + k] = rotation[index[f"foot.{side}"]]
    return points, frames
