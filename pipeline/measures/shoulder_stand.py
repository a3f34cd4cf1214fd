"""The shoulder stand's hold, seen from the side: hips flat, legs upright, toes pointed."""

from __future__ import annotations

import numpy as np

from pipeline.geometry import angle_to, middle, signed_angle
from pipeline.measures.angles import angle_of, held_angle
from pipeline.measures.learnt import put_right
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene, other
from pipeline.measures.told import seen_elsewhere, told, towards
from pipeline.measures.uncertainty import Table, make_reading
from pipeline.vocabulary import Side, Skill

UP = np.array([0.0, -1.0])
FAR_LEG = 1 / 3  # of the legs' line is the further leg's
TOLD = {"hip_angle": "hip_to_ankle", "hip_knee_angle": "hip_to_knee"}  # details and the near look's word for them


def trunk_line(scene: Scene) -> np.ndarray:
    """(n, 2) pixels from the middle of the hips to the middle of the shoulders; the nearer side's where the further was not seen.

    Shoulders are wider than hips: seen off square, the line between two joints of one side slants by what the view makes of that.
    """
    both = [middle(scene.p(Side.LEFT, part), scene.p(Side.RIGHT, part)) for part in ("shoulder", "hip")]
    far = np.isfinite([scene.p(other(scene.near), part) for part in ("shoulder", "hip")]).all(axis=(0, -1))
    near = scene.p(scene.near, "shoulder") - scene.p(scene.near, "hip")
    return np.where(far[:, None], both[0] - both[1], near)


def legs_line(scene: Scene, end: str) -> np.ndarray:
    """(n, 2) pixels from hip to `end` of the nearer leg, a third of it the further leg's: their landmarks do not err alike."""
    near, far = (scene.p(side, end) - scene.p(side, "hip") for side in (scene.near, other(scene.near)))
    return np.where(np.isfinite(far), (1 - FAR_LEG) * near + FAR_LEG * far, near)


def hip_fold(scene: Scene, end: str) -> np.ndarray:
    """(n,) degrees between trunk and legs, signed: below 180 piked, above arched."""
    trunk = trunk_line(scene)
    return signed_angle(trunk, np.zeros_like(trunk), legs_line(scene, end), scene.facing)


def told_fold(scene: Scene, angle: str) -> float:
    """Degrees of the fold as the near look tells it, of both legs as in `legs_line`; NaN where it does not."""
    near, far = (told(scene, side, angle) for side in (scene.near, other(scene.near)))
    return (1 - FAR_LEG) * near + FAR_LEG * far if np.isfinite(far) else near


def readings(scene: Scene, table: Table) -> list[Reading]:
    """The four details, on the side nearer to the camera."""
    near = scene.near
    shoulder, hip, knee, ankle, toe = ((near, part) for part in ("shoulder", "hip", "knee", "ankle", "foot_index"))
    found = {
        "hip_angle": held_angle(scene, lambda s: hip_fold(s, "ankle"), (shoulder, hip, ankle), (shoulder, hip, ankle), what="hip"),
        "hip_knee_angle": held_angle(scene, lambda s: hip_fold(s, "knee"), (shoulder, hip, knee), (shoulder, hip, knee), what="hip"),
        "leg_to_vertical": held_angle(
            scene, lambda s: angle_to(s.p(*ankle) - s.p(*hip), UP), (hip, ankle), (hip, knee, ankle), what="leg", limits=(0, 180)
        ),
        "toe_point": held_angle(
            scene, lambda s: angle_of(s, knee, ankle, toe), (knee, ankle, toe), (knee, ankle, toe), what="foot", limits=(0, 180)
        ),
    }
    for detail, angle in TOLD.items():
        found[detail] = towards(found[detail], told_fold(scene, angle))
    if np.isinf(told(scene, near, "hip_to_ankle")):  # legs are read from hip to ankle too
        found["leg_to_vertical"] = seen_elsewhere(found["leg_to_vertical"])
    return [
        make_reading(Skill.SHOULDER_STAND, detail, Side.NONE, put_right(scene, detail, near, seen), table) for detail, seen in found.items()
    ]
