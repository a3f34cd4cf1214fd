"""The loaded lunge, seen from the side: back knee bent, trunk over the front leg, arms by the ears."""

from __future__ import annotations

import numpy as np

from pipeline.geometry import middle
from pipeline.measures import lunge
from pipeline.measures.angles import angle_of, held_angle
from pipeline.measures.learnt import put_right
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene
from pipeline.measures.told import told, towards
from pipeline.measures.uncertainty import Table, make_reading
from pipeline.vocabulary import Side, Skill


def lean(scene: Scene) -> np.ndarray:
    """(n,) degrees by which the trunk (middle of the hips to middle of the shoulders) leans the way she faces; 0 upright."""
    hips, shoulders = (middle(scene.p(Side.LEFT, part), scene.p(Side.RIGHT, part)) for part in ("hip", "shoulder"))
    along, down = np.moveaxis(shoulders - hips, -1, 0)
    return np.degrees(np.arctan2(scene.facing * along, -down))


def readings(scene: Scene, table: Table) -> list[Reading]:
    """Three details, each the median over the hold."""
    back, arm = lunge.back_leg(scene), scene.near
    knee = ((back, "hip"), (back, "knee"), (back, "ankle"))
    trunk = ((arm, "hip"), (arm, "shoulder"))
    upper_arm = ((arm, "elbow"), (arm, "shoulder"), (arm, "hip"))
    found = {
        "knee_angle": held_angle(scene, lambda s: angle_of(s, *knee), knee, knee, what="back knee", limits=(0, 180)),
        "lean_angle": held_angle(scene, lean, trunk, upper_arm, what="trunk", limits=(-180, 180)),
        "arms_by_ears": held_angle(scene, lambda s: lunge.arms_by_ears(s, arm), upper_arm, upper_arm, what="nearer arm", limits=(0, 180)),
    }
    found["knee_angle"] = towards(found["knee_angle"], told(scene, back, "knee"))
    found["arms_by_ears"] = towards(found["arms_by_ears"], 180.0 - told(scene, arm, "shoulder"))
    return [
        make_reading(Skill.LOADED_LUNGE, detail, Side.NONE, put_right(scene, detail, back, seen), table) for detail, seen in found.items()
    ]
