"""Angles and heights at every frame of an attempt, for the plots, each with its own interval."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from pipeline.geometry import length
from pipeline.landmarks.track import INDEX
from pipeline.measures import backward_roll, cartwheel, cartwheel_shape, loaded_lunge, lunge, sharpness, shoulder_stand
from pipeline.measures.angles import Point, angle_of
from pipeline.measures.learnt_frames import put_right_frames
from pipeline.measures.look import Look
from pipeline.measures.reading import Curve
from pipeline.measures.scene import Scene
from pipeline.measures.told import curve_towards, told
from pipeline.measures.told_knees import knee_curve
from pipeline.measures.uncertainty import Known, Table, angle_sd, error_table
from pipeline.vocabulary import CHORD, DEGREES, SHANK, Side, Skill

TABLE = Path(__file__).with_name("frame_errors.csv")
BOTH = (Side.LEFT, Side.RIGHT)
LUNGES = (Skill.LUNGE, Skill.LOADED_LUNGE)


FrameTable = Mapping[tuple[Skill, str], Known]


def frame_errors() -> FrameTable:
    """The committed table of what hip and knee may be off in a single frame: more than over a window, and at any pose of the attempt."""
    return error_table(TABLE)


def followed_side(scene: Scene) -> Side:
    """The side whose hip and knee are followed where not both are: the back leg's in a lunge, else the nearer one."""
    return lunge.back_leg(scene) if scene.skill in LUNGES else scene.near


def curves(scene: Scene, table: Table, frames: FrameTable) -> list[Curve]:
    """Hip and knee over the whole attempt, and what belongs to the skill."""
    if scene.skill is Skill.CARTWHEEL:
        out = [_angle(scene, frames, "knee_angle", side, side, cartwheel.knee_angle(scene, side), _corner(side, "knee")) for side in BOTH]
        return out + [
            _angle(scene, frames, "hip_angle", side, side, angle_of(scene, *_corner(side, "hip")), _corner(side, "hip")) for side in BOTH
        ]
    lunging, side = scene.skill in LUNGES, followed_side(scene)
    shoulder: Point = (scene.near, "shoulder")
    hip = (
        (shoulder, (side, "hip"), (side, "knee")) if scene.skill is not Skill.SHOULDER_STAND else (shoulder, (side, "hip"), (side, "ankle"))
    )
    knee, hip_word = _corner(side, "knee"), told(scene, side, "hip_to_knee")
    if scene.skill is Skill.SHOULDER_STAND:
        hips, hip_word = shoulder_stand.hip_fold(scene, "ankle"), shoulder_stand.told_fold(scene, "hip_to_ankle")
    else:
        hips = lunge.back_hip(scene, side) if lunging else angle_of(scene, *hip, signed=True)
    out = [
        _angle(scene, frames, "hip_angle", Side.NONE, side, hips, hip, word=hip_word),
        _angle(scene, frames, "knee_angle", Side.NONE, side, angle_of(scene, *knee), knee, word=told(scene, side, "knee")),
    ]
    if scene.skill is Skill.LUNGE:
        sd = np.full(len(scene.t), table[(Skill.LUNGE, "line_deviation")].sd)
        out.append(_curve(scene, "line_deviation", Side.NONE, CHORD, lunge.line_deviation(scene, scene.near, side), sd))
    if scene.skill is Skill.LOADED_LUNGE:
        sd = np.full(len(scene.t), table[(Skill.LOADED_LUNGE, "lean_angle")].sd)
        out.append(_curve(scene, "lean_angle", Side.NONE, DEGREES, loaded_lunge.lean(scene), sd))
    if scene.skill is Skill.BACKWARD_ROLL:
        lower = backward_roll.lower_knee(scene)
        sd = np.hypot(backward_roll.frame_sd(scene, lower.side), table[(Skill.BACKWARD_ROLL, "knee_clearance")].sd)
        out.append(_curve(scene, "knee_clearance", Side.NONE, SHANK, lower.clear, sd))
    return out


def further_curves(look: Look, table: Table) -> list[Curve]:
    """What the further details follow over time: the arms' speed, the legs apart, the toes."""
    scene = look.scene
    if scene.skill in (Skill.LUNGE, Skill.SHOULDER_STAND):
        return sharpness.curve(look, table)
    flat = lambda detail: np.full(len(scene.t), table[(scene.skill, detail)].sd)  # noqa: E731
    if scene.skill is Skill.CARTWHEEL:
        out = [_curve(scene, "legs_apart", Side.NONE, DEGREES, cartwheel_shape.thighs(scene), flat("legs_apart"))]
        out += [_curve(scene, "toe_point", side, DEGREES, cartwheel_shape.toes(scene, side), flat("toe_point")) for side in BOTH]
        return out
    return []


def _corner(side: Side, joint: str) -> tuple[Point, Point, Point]:
    parts = {"hip": ("shoulder", "hip", "knee"), "knee": ("hip", "knee", "ankle")}[joint]
    return (side, parts[0]), (side, parts[1]), (side, parts[2])


def _angle(
    scene: Scene, frames: FrameTable, detail: str, side: Side, own: Side, value: np.ndarray, corner: tuple[Point, Point, Point],
    word: float = float("nan"),
) -> Curve:  # fmt: skip
    """An angle's curve, corrected at its poses. side: as the curve says it; own: whose limb it is; word: what is told of it over a hold."""
    a, v, c = corner
    value = put_right_frames(scene, detail, own, curve_towards(scene, value, word))
    if detail == "knee_angle":
        value = knee_curve(scene, own, value)
    first, second = length(scene.p(*a), scene.p(*v)), length(scene.p(*v), scene.p(*c))
    jitter = 2 * np.nan_to_num(scene.jitter[:, [INDEX[f"{s}_{p}"] for s, p in corner]])
    open_sd = np.hypot(angle_sd(scene.noise(*corner), first, second), angle_sd(jitter, first, second))
    known = frames[scene.skill, detail]
    most = 180.0 if detail == "knee_angle" or scene.skill is Skill.CARTWHEEL else np.inf  # other hips are signed
    return _curve(
        scene, detail, side, DEGREES, np.minimum(value + known.bias, most), np.hypot(known.sd, np.nan_to_num(open_sd)), known.factor
    )


def _curve(scene: Scene, detail: str, side: Side, unit: str, value: np.ndarray, sd: np.ndarray, factor: float = 1.96) -> Curve:
    inside = scene.inside
    v, half = value[inside], factor * sd[inside]
    return Curve(
        detail, side, unit, scene.t[inside], v, np.where(np.isfinite(v), v - half, np.nan), np.where(np.isfinite(v), v + half, np.nan)
    )
