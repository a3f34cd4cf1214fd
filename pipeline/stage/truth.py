"""True details of a movement, from its 3-D joints and skin alone. Shares no code with the measures it is there to check.

Angles at the hip and the shoulder are taken in the athlete's own side plane (square to the line between the hips), as a
goniometer is held; the knee's in space, as it is a hinge. All moments are at timing.RATE, finer than the clip's frames.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.stage.motions.movement import Span
from pipeline.vocabulary import CHORD, DEGREES, SECONDS, SHANK, Side, Skill

TOUCHING = 0.010  # metres: skin lower than this is on the mat (which gives by 4 mm)


@dataclass(frozen=True)
class TrueDetail:
    """One true value."""

    detail: str
    side: Side
    value: float
    unit: str


@dataclass(frozen=True)
class TrueAttempt:
    """What truly happened in one attempt. Times are seconds from the clip's first frame."""

    span: Span
    key: tuple[float, float]
    details: tuple[TrueDetail, ...]


def angle(a: np.ndarray, vertex: np.ndarray, c: np.ndarray) -> np.ndarray:
    """(n,) degrees between vertex->a and vertex->c, 0..180; from the cross and the dot product."""
    u, v = a - vertex, c - vertex
    return np.degrees(np.arctan2(np.linalg.norm(np.cross(u, v), axis=-1), np.sum(u * v, axis=-1)))


def side_plane(j: dict[str, np.ndarray], v: np.ndarray) -> np.ndarray:
    """(n, 3) directions v with their part along the line between the hips taken out."""
    across = j["left_hip"] - j["right_hip"]
    across = across / np.linalg.norm(across, axis=-1, keepdims=True)
    return v - across * np.sum(v * across, axis=-1, keepdims=True)


def directed(j: dict[str, np.ndarray], a: np.ndarray, vertex: np.ndarray, c: np.ndarray) -> np.ndarray:
    """(n,) angle at vertex from a round the front of the body to c in the side plane, 0..360: below 180 folds forward.

    Positive turn about the body's left axis (right hip -> left hip) takes up into forward, so the fold from the upper
    point a to the lower point c counts round the front.
    """
    u, v = side_plane(j, a - vertex), side_plane(j, c - vertex)
    across = j["left_hip"] - j["right_hip"]
    across = across / np.linalg.norm(across, axis=-1, keepdims=True)
    return np.mod(np.degrees(np.arctan2(np.sum(np.cross(u, v) * across, axis=-1), np.sum(u * v, axis=-1))), 360)


def true_attempt(t: np.ndarray, joints: dict[str, np.ndarray], low: dict[str, np.ndarray], span: Span, near: Side) -> TrueAttempt:
    """True key window and details of one attempt.

    joints, low : from `joints.landmarks` and `joints.heights` at times t; near : the side nearer to the camera, whose limbs
    stand for the details without a side (for the lunge's legs it is the back leg, whichever side that is).
    """
    measure = {
        Skill.LUNGE: _lunge, Skill.SHOULDER_STAND: _shoulder_stand, Skill.BACKWARD_ROLL: _backward_roll, Skill.CARTWHEEL: _cartwheel,
    }[span.skill]  # fmt: skip
    key, details = measure(t, joints, low, span, near)
    return TrueAttempt(span, key, tuple(details))


def _within(t: np.ndarray, window: tuple[float, float]) -> np.ndarray:
    return (t >= window[0] - 1e-9) & (t <= window[1] + 1e-9)


def _hold(span: Span) -> tuple[float, float]:
    if span.hold is None:
        raise ValueError(f"A {span.skill} needs to say when it is held.")
    return span.hold


def _lunge(t, j, low, span: Span, near: Side):
    """Over the hold (from both feet planted in the full lunge to the first push back): the median of each detail."""
    key = _hold(span)
    held = _within(t, key)
    back = "right" if span.lead is Side.LEFT else "left"
    j = {name: v[held] for name, v in j.items()}
    out = []
    hip = directed(j, j[f"{back}_shoulder"], j[f"{back}_hip"], j[f"{back}_knee"])  # shoulder-hip-knee of the back leg, signed
    knee = angle(j[f"{back}_hip"], j[f"{back}_knee"], j[f"{back}_ankle"])
    arms = near.value
    points = [side_plane(j, j[f"{arms}_{p}"]) for p in ("fingertip", "wrist", "elbow", "shoulder")]
    points += [side_plane(j, j[f"{back}_{p}"]) for p in ("hip", "knee", "heel")]
    chord = points[-1] - points[0]
    length = np.linalg.norm(chord, axis=-1)
    # largest distance of wrist, elbow, shoulder, hip, knee from the chord fingertip - back heel, share of the chord
    away = [np.linalg.norm(np.cross(p - points[0], chord), axis=-1) / length for p in points[1:-1]]
    out.append(TrueDetail("line_deviation", Side.NONE, float(np.median(100 * np.max(away, axis=0) / length)), CHORD))
    out.append(TrueDetail("hip_angle", Side.NONE, float(np.median(hip)), DEGREES))
    out.append(TrueDetail("knee_angle", Side.NONE, float(np.median(knee)), DEGREES))
    for side in ("left", "right"):
        shoulder = directed(j, j[f"{side}_elbow"], j[f"{side}_shoulder"], j[f"{side}_hip"])
        opened = np.minimum(shoulder, 360 - shoulder)  # elbow-shoulder-hip, folded: 180 is open
        for name, value in (("shoulder_angle", opened), ("arms_by_ears", 180 - opened)):  # upper arm to the trunk's line carried on
            out += [TrueDetail(name, s, float(np.median(value)), DEGREES) for s in (Side(side), *([Side.NONE] if side == arms else []))]
    return key, out


def _shoulder_stand(t, j, low, span: Span, near: Side):
    """Over the hold (legs up and still): the median of each detail."""
    key = _hold(span)
    held = _within(t, key)
    j = {name: v[held] for name, v in j.items()}
    out = []
    for side in ("left", "right"):
        s, h, k, a, toe = (j[f"{side}_{p}"] for p in ("shoulder", "hip", "knee", "ankle", "foot_index"))
        leg = a - h
        rows = (
            ("hip_angle", directed(j, s, h, a)),  # shoulder-hip-ankle, signed
            ("hip_knee_angle", directed(j, s, h, k)),  # shoulder-hip-knee, signed
            ("leg_to_vertical", np.degrees(np.arctan2(np.hypot(leg[:, 0], leg[:, 1]), leg[:, 2]))),  # hip-ankle line from the plumb line
            ("toe_point", angle(k, a, toe)),  # shank to foot (ankle to tip of the toes)
        )
        for name, value in rows:
            out += [
                TrueDetail(name, x, float(np.median(value)), DEGREES) for x in (Side(side), *([Side.NONE] if side == near.value else []))
            ]
    return key, out


def _backward_roll(t, j, low, span: Span, near: Side):
    """From the ankles passing over the shoulders, in the direction of the roll, to standing."""
    inside = _within(t, (span.start_s, span.end_s))
    hips = 0.5 * (j["left_hip"] + j["right_hip"])[inside]
    way = (hips[-1] - hips[0])[:2]
    way /= np.linalg.norm(way)
    ankles = 0.5 * (j["left_ankle"] + j["right_ankle"])
    shoulders = 0.5 * (j["left_shoulder"] + j["right_shoulder"])
    ahead = (ankles - shoulders)[:, :2] @ way
    middle = 0.5 * (j["left_hip"] + j["right_hip"])
    over = inside & (ahead > 0) & (middle[:, 2] > shoulders[:, 2])  # rolled onto the shoulders, the feet past them
    key = (float(t[np.flatnonzero(over)[0]]), span.end_s)
    window = _within(t, key)
    knee = np.minimum(low["left_knee_low"], low["right_knee_low"])[window]
    shank = np.linalg.norm(j["left_knee"] - j["left_ankle"], axis=-1)[0]
    touching = knee < TOUCHING
    clearance = 0.0 if touching.any() else 100 * float(knee.min()) / float(shank)  # lowest skin of either knee above the floor
    step = float(t[1] - t[0])
    return key, [
        TrueDetail("knee_clearance", Side.NONE, clearance, SHANK),
        TrueDetail("knee_contact_time", Side.NONE, float(touching.sum()) * step, SECONDS),
    ]


def inverted_window(t: np.ndarray, low: dict[str, np.ndarray], span: Span) -> tuple[float, float]:
    """First hand down to the first foot down after both feet had left the floor, from the skin's heights."""
    inside = _within(t, (span.start_s, span.end_s))
    hand = np.minimum(low["left_hand_low"], low["right_hand_low"]) < TOUCHING
    foot = np.minimum(low["left_foot_low"], low["right_foot_low"]) < TOUCHING
    first = np.flatnonzero(inside & hand)[0]
    flying = first + np.flatnonzero(~foot[first:])[0]
    landed = flying + np.flatnonzero(foot[flying:])[0]
    return float(t[first]), float(t[landed])


def _cartwheel(t, j, low, span: Span, near: Side):
    """Smallest hip-knee-ankle angle of each leg, in space, over the inverted window."""
    key = inverted_window(t, low, span)
    window = _within(t, key)
    out = []
    for side in ("left", "right"):
        knee = angle(j[f"{side}_hip"], j[f"{side}_knee"], j[f"{side}_ankle"])
        out.append(TrueDetail("knee_angle", Side(side), float(knee[window].min()), DEGREES))
    return key, out
