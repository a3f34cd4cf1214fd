"""The cartwheel while upside down, seen from the front: each knee at its most bent, also where it bends towards the camera."""

from __future__ import annotations

import numpy as np

from pipeline.geometry import joint_angle
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene
from pipeline.measures.uncertainty import Evidence, Table, angle_sd, make_reading
from pipeline.vocabulary import Side, Skill

LOW_SHARE = 0.05  # the smallest angle is read as this quantile of the window: one frame's slip does not decide


def knee_angle(scene: Scene, side: Side) -> np.ndarray:
    """(n,) degrees at a knee: in space, from picture and depth."""
    return joint_angle(scene.p3(side, "hip"), scene.p3(side, "knee"), scene.p3(side, "ankle"))


def readings(scene: Scene, table: Table) -> list[Reading]:
    """The smallest knee angle of each leg over the inverted window."""
    return [make_reading(Skill.CARTWHEEL, "knee_angle", side, _smallest(scene, side), table) for side in (Side.LEFT, Side.RIGHT)]


def _smallest(scene: Scene, side: Side) -> Evidence:
    window = scene.key
    frames, t = knee_angle(scene, side)[window], scene.t[window]
    ok = np.isfinite(frames)
    share = float(ok.mean()) if len(ok) else 0.0
    line = names((side, "hip"), (side, "knee"), (side, "ankle"))
    problem = problem_of(scene, share, f"{side} leg", "time upside down", words.FRONT_VIEW)
    if problem or not ok.any():
        return Evidence(float("nan"), usable=share, line=line, problem=problem)
    value = float(np.quantile(frames[ok], LOW_SHARE))
    i = int(np.flatnonzero(ok)[np.argmin(np.abs(frames[ok] - value))])
    thigh, shank = (np.linalg.norm(scene.p(side, a) - scene.p(side, b), axis=-1)[window] for a, b in (("hip", "knee"), ("knee", "ankle")))
    passes = angle_sd(scene.noise((side, "hip"), (side, "knee"), (side, "ankle"))[window], thigh, shank)
    return Evidence(value, 0.0, 0.0, float(np.nan_to_num(passes[i])), share, float(t[i]), line, "", (0.0, 180.0))
