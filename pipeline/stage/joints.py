"""From placed bones to the 33 landmarks (anatomical joint centres) and to heights above the floor, in world metres."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.track import NAMES
from pipeline.stage.bodies import SIDES, Body
from pipeline.stage.contact import subset
from pipeline.stage.pose import Placed

SIDE_NAME = {"L": "left", "R": "right"}
JOINTS = {
    "shoulder": "upperarm01", "elbow": "lowerarm01", "wrist": "wrist", "pinky": "finger5-1", "index": "finger2-1", "thumb": "finger1-2",
    "hip": "upperleg01", "knee": "lowerleg01", "ankle": "foot",
}  # fmt: skip


def landmarks(body: Body, placed: Placed) -> dict[str, np.ndarray]:
    """name -> (n, 3) world metres for the 33 landmark names, and beside them left_fingertip, right_fingertip and crown.

    Shoulder, elbow, wrist, hip, knee and ankle are the centres the bones turn about; pinky, index and thumb the knuckles;
    heel, foot_index (tip of the toes), nose and ears lie on the skin.
    """
    out: dict[str, np.ndarray] = {}
    rows = list(body.points.values())
    surface = dict(zip(body.points, np.moveaxis(subset(body, placed, np.array(rows)), 1, 0), strict=True))
    head = placed.turn[:, body.bone["head"]]
    out["nose"], out["crown"] = surface["nose"], surface["crown"]
    scale = np.linalg.norm(body.head_of("eye.L") - body.head_of("eye.R")) / 0.056
    aside, ahead = head @ np.array([0.013 * scale, 0, 0]), head @ np.array([0, -0.018 * scale, 0])
    for side, sign in (("L", 1), ("R", -1)):
        name = SIDE_NAME[side]
        eye = placed.joint(body, f"eye.{side}") + ahead
        out[f"{name}_eye_inner"], out[f"{name}_eye"], out[f"{name}_eye_outer"] = eye - sign * aside, eye, eye + sign * aside
        out[f"{name}_ear"] = surface[f"ear.{side}"]
        out[f"mouth_{name}"] = out["nose"] + head @ (np.array([sign * 0.024, 0.02, -0.032]) * scale)
        for joint, bone in JOINTS.items():
            out[f"{name}_{joint}"] = placed.joint(body, f"{bone}.{side}")
        out[f"{name}_heel"], out[f"{name}_foot_index"] = surface[f"heel.{side}"], surface[f"toe.{side}"]
        out[f"{name}_fingertip"] = surface[f"fingertip.{side}"]
    return {name: out[name] for name in (*NAMES, "left_fingertip", "right_fingertip", "crown")}


def knee_region(body: Body, side: str) -> np.ndarray:
    """Indices of the skin around one knee: within 18 % of the shank's length above and below the joint, along the leg."""
    knee, foot = body.head_of(f"lowerleg01.{side}"), body.head_of(f"foot.{side}")
    shank = foot - knee
    part = (body.vertices - knee) @ shank / float(shank @ shank)
    leg = body.owned(f"upperleg01.{side}", f"upperleg02.{side}", f"lowerleg01.{side}", f"lowerleg02.{side}")
    return np.flatnonzero(leg & (np.abs(part) < 0.18))


def lowest(body: Body, placed: Placed, rows: np.ndarray) -> np.ndarray:
    """(n,) height of the lowest of these vertices above the floor, metres."""
    return subset(body, placed, rows)[:, :, 2].min(axis=1)


def heights(body: Body, placed: Placed) -> dict[str, np.ndarray]:
    """name -> (n,) lowest skin of each knee, hand and foot above the floor, metres (left_knee_low, ...)."""
    out = {}
    for side in SIDES:
        name, sign = SIDE_NAME[side], 1 if side == "L" else -1
        own = body.vertices[:, 0] * sign > 0
        out[f"{name}_knee_low"] = lowest(body, placed, knee_region(body, side))
        out[f"{name}_hand_low"] = lowest(body, placed, np.flatnonzero(body.owned("wrist", "finger", "metacarpal") & own))
        out[f"{name}_foot_low"] = lowest(body, placed, np.flatnonzero(body.owned("foot", "toe") & own))
    return out
