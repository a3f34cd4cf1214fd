"""The straight and the loaded lunge, over the hold: from both feet planted to the first push back (or bend of the knee)."""

from __future__ import annotations

import numpy as np

from pipeline.stage.truths.arms import lift_details
from pipeline.stage.truths.geometry import Attempt, TrueDetail, angle, directed, side_plane, unit
from pipeline.vocabulary import CHORD, DEGREES, Side

Key = tuple[float, float]


def lunge(a: Attempt) -> tuple[Key, list[TrueDetail]]:
    """The median of each detail over the hold, and the arms' lift into the line."""
    held = a.during(*a.hold)
    back = "right" if a.span.lead is Side.LEFT else "left"
    j = {name: v[held] for name, v in a.j.items()}
    hip = directed(j, j[f"{back}_shoulder"], j[f"{back}_hip"], j[f"{back}_knee"])  # shoulder-hip-knee of the back leg, signed
    arms = a.near.value
    points = [side_plane(j, j[f"{arms}_{p}"]) for p in ("fingertip", "wrist", "elbow", "shoulder")]
    points += [side_plane(j, j[f"{back}_{p}"]) for p in ("hip", "knee", "heel")]
    chord = points[-1] - points[0]
    length = np.linalg.norm(chord, axis=-1)
    # largest distance of wrist, elbow, shoulder, hip, knee from the chord fingertip - back heel, share of the chord
    away = [np.linalg.norm(np.cross(p - points[0], chord), axis=-1) / length for p in points[1:-1]]
    out = [TrueDetail("line_deviation", Side.NONE, float(np.median(100 * np.max(away, axis=0) / length)), CHORD)]
    out.append(TrueDetail("hip_angle", Side.NONE, float(np.median(hip)), DEGREES))
    out.append(_back_knee(j, back))
    for side in ("left", "right"):
        opened = _shoulder(j, side)
        for name, value in (("shoulder_angle", opened), ("arms_by_ears", 180 - opened)):  # upper arm to the trunk's line carried on
            out += [TrueDetail(name, s, float(np.median(value)), DEGREES) for s in (Side(side), *([Side.NONE] if side == arms else []))]
    return a.hold, out + lift_details(a)


def loaded_lunge(a: Attempt) -> tuple[Key, list[TrueDetail]]:
    """Back knee, the trunk's lean (forward positive) and the arms, the median over the hold."""
    held = a.during(*a.hold)
    back = "right" if a.span.lead is Side.LEFT else "left"
    j = {name: v[held] for name, v in a.j.items()}
    trunk = (a.middle("shoulder") - a.middle("hip"))[held]
    ahead = unit(np.cross(j["left_hip"] - j["right_hip"], [0.0, 0.0, 1.0]))
    lean = np.degrees(np.arctan2(np.sum(trunk * ahead, axis=-1), trunk[:, 2]))
    out = [_back_knee(j, back), TrueDetail("lean_angle", Side.NONE, float(np.median(lean)), DEGREES)]
    for side in ("left", "right"):
        value = float(np.median(180 - _shoulder(j, side)))
        out += [TrueDetail("arms_by_ears", s, value, DEGREES) for s in (Side(side), *([Side.NONE] if side == a.near.value else []))]
    return a.hold, out


def _back_knee(j: dict[str, np.ndarray], back: str) -> TrueDetail:
    knee = angle(j[f"{back}_hip"], j[f"{back}_knee"], j[f"{back}_ankle"])
    return TrueDetail("knee_angle", Side.NONE, float(np.median(knee)), DEGREES)


def _shoulder(j: dict[str, np.ndarray], side: str) -> np.ndarray:
    """(n,) elbow-shoulder-hip in the side plane, folded: 180 is open."""
    shoulder = directed(j, j[f"{side}_elbow"], j[f"{side}_shoulder"], j[f"{side}_hip"])
    return np.minimum(shoulder, 360 - shoulder)
