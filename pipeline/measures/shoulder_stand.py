"""The shoulder stand's hold, seen from the side: hips flat, legs upright, toes pointed."""

from __future__ import annotations

import numpy as np

from pipeline.geometry import angle_to
from pipeline.measures.angles import angle_of, held_angle
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene
from pipeline.measures.uncertainty import Table, make_reading
from pipeline.vocabulary import Side, Skill

UP = np.array([0.0, -1.0])


def readings(scene: Scene, table: Table) -> list[Reading]:
    """The four details, on the side nearer to the camera."""
    near = scene.near
    shoulder, hip, knee, ankle, toe = ((near, part) for part in ("shoulder", "hip", "knee", "ankle", "foot_index"))
    found = {
        "hip_angle": held_angle(
            scene, lambda s: angle_of(s, shoulder, hip, ankle, signed=True), (shoulder, hip, ankle), (shoulder, hip, ankle), what="hip"
        ),
        "hip_knee_angle": held_angle(
            scene, lambda s: angle_of(s, shoulder, hip, knee, signed=True), (shoulder, hip, knee), (shoulder, hip, knee), what="hip"
        ),
        "leg_to_vertical": held_angle(
            scene, lambda s: angle_to(s.p(*ankle) - s.p(*hip), UP), (hip, ankle), (hip, knee, ankle), what="leg", limits=(0, 180)
        ),
        "toe_point": held_angle(
            scene, lambda s: angle_of(s, knee, ankle, toe), (knee, ankle, toe), (knee, ankle, toe), what="foot", limits=(0, 180)
        ),
    }
    return [make_reading(Skill.SHOULDER_STAND, detail, Side.NONE, evidence, table) for detail, evidence in found.items()]
