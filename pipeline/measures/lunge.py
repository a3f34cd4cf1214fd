"""The lunge hold, seen from the side: one line from fingertip to back heel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.geometry import joint_angle, length, middle, offset_from_chord, signed_angle
from pipeline.measures import words
from pipeline.measures.angles import angle_of, held_angle
from pipeline.measures.learnt import put_right
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene, other
from pipeline.measures.told import told, towards
from pipeline.measures.uncertainty import PASSES_SHARE, Table, make_reading
from pipeline.vocabulary import Side, Skill

APART = 0.3  # trunks between the ankles; nearer than that the picture does not tell which leg is in front
FINGERTIP = 2.0  # wrist to fingertip against wrist to knuckles; the landmarks end at the knuckles


def fingertip(scene: Scene, side: Side) -> np.ndarray:
    """(n, 2) pixels: the wrist-knuckle line carried on to where a straight hand ends."""
    wrist, knuckles = scene.p(side, "wrist"), middle(scene.p(side, "index"), scene.p(side, "pinky"))
    return wrist + FINGERTIP * (knuckles - wrist)


def line_deviation(scene: Scene, arm: Side, leg: Side) -> np.ndarray:
    """(n,) largest distance of wrist, elbow, shoulder, hip and knee from the chord fingertip-back heel, % of the chord."""
    tip, heel = fingertip(scene, arm), scene.p(leg, "heel")
    joints = (scene.p(arm, "wrist"), scene.p(arm, "elbow"), scene.p(arm, "shoulder"), scene.p(leg, "hip"), scene.p(leg, "knee"))
    return 100 * np.max([np.abs(offset_from_chord(p, tip, heel)) for p in joints], axis=0)


def passes_off_chord(scene: Scene, arm: Side, leg: Side) -> float:
    """sd in % of the chord that the passes' disagreement leaves in the line's deviation: of one joint across the chord, in one of two
    directions, and of each end by half as much, for the joint furthest off lies about half way."""
    window = scene.key
    away = PASSES_SHARE / np.sqrt(2) * scene.noise(*[(arm, p) for p in ("wrist", "elbow", "shoulder")], (leg, "hip"), (leg, "knee"))[window]
    ends = PASSES_SHARE / np.sqrt(2) * scene.noise((arm, "index"), (leg, "heel"))[window] / 2
    chord = length(fingertip(scene, arm), scene.p(leg, "heel"))[window]
    each = 100 * np.sqrt(np.mean(away**2, axis=1) + np.sum(ends**2, axis=1)) / chord
    return float(np.nanmedian(each)) if np.isfinite(each).any() else 0.0


def back_hip(scene: Scene, leg: Side) -> np.ndarray:
    """(n,) degrees at the back leg's hip, signed, between trunk and thigh.

    The trunk is the line from the middle of the hips to the middle of the shoulders: in a lunge with the arms up both sides are seen, a
    middle is placed better than either, and the legs, one forward and one back, pull the hips' landmarks apart but not their middle
    (mean error 3.2 degrees, 3.5 with the back hip in its place, on 41 rendered lunges).
    """
    shoulders, hips = (middle(scene.p(Side.LEFT, part), scene.p(Side.RIGHT, part)) for part in ("shoulder", "hip"))
    trunk, thigh = shoulders - hips, scene.p(leg, "knee") - scene.p(leg, "hip")
    return signed_angle(trunk, np.zeros_like(trunk), thigh, scene.facing)


def arms_by_ears(scene: Scene, arm: Side) -> np.ndarray:
    """(n,) degrees between the upper arm and the line hip-shoulder carried on."""
    return 180.0 - joint_angle(scene.p(arm, "elbow"), scene.p(arm, "shoulder"), scene.p(arm, "hip"))


def arm_hangs(scene: Scene) -> bool:
    """Whether the arm that is read, or the other one where it was not seen, hangs by the side over the key window. A lunge has its arms
    overhead: where somebody stands close behind, limbs as long and as still as the athlete's were taken for hers."""
    for side in (scene.near, other(scene.near)):
        lowered = arms_by_ears(scene, side)[scene.key]
        if np.isfinite(lowered).any():
            return bool(180.0 - np.nanmedian(lowered) < words.ARM_HANGS)
    return False


def arm_elsewhere(scene: Scene) -> bool:
    """Whether the near look sees the arm that is read elsewhere: its elbow or shoulder a third of a trunk away or more."""
    return bool(np.isinf(told(scene, scene.near, "shoulder")))


def readings(scene: Scene, table: Table) -> list[Reading]:
    """The lunge's five details. The back leg is the one not leading; of the arms the nearer one is read."""
    back = back_leg(scene)
    arm = scene.near
    chord = ((arm, "index"), (arm, "wrist"), (arm, "elbow"), (arm, "shoulder"), (back, "hip"), (back, "knee"), (back, "heel"))
    shoulder = ((arm, "elbow"), (arm, "shoulder"), (arm, "hip"))
    hip = ((arm, "shoulder"), (back, "hip"), (back, "knee"))
    knee = ((back, "hip"), (back, "knee"), (back, "ankle"))
    found = {
        "line_deviation": held_angle(
            scene, lambda s: line_deviation(s, arm, back), chord, hip, what="line from fingertip to back heel", limits=(0, np.inf)
        ),
        "shoulder_angle": held_angle(scene, lambda s: angle_of(s, *shoulder), shoulder, shoulder, what="nearer arm", limits=(0, 180)),
        "hip_angle": held_angle(scene, lambda s: back_hip(s, back), hip, hip, what="back leg's hip"),
        "knee_angle": held_angle(scene, lambda s: angle_of(s, *knee), knee, knee, what="back knee", limits=(0, 180)),
        "arms_by_ears": held_angle(scene, lambda s: arms_by_ears(s, arm), shoulder, shoulder, what="nearer arm", limits=(0, 180)),
    }
    words_of = {
        "shoulder_angle": told(scene, arm, "shoulder"), "hip_angle": told(scene, back, "hip_to_knee"), "knee_angle": told(scene, back, "knee"),
        "arms_by_ears": 180.0 - told(scene, arm, "shoulder"),
    }  # fmt: skip
    found |= {detail: towards(found[detail], word) for detail, word in words_of.items()}
    found["line_deviation"] = replace(found["line_deviation"], passes=passes_off_chord(scene, arm, back))
    return [make_reading(Skill.LUNGE, detail, Side.NONE, put_right(scene, detail, back, seen), table) for detail, seen in found.items()]


def back_leg(scene: Scene) -> Side:
    """The leg further back than the other, the way the athlete faces; where the feet are not apart in the picture, the one not said
    to lead.

    The picture goes first: where landmarks name the legs the other way round, the roster's word would read the front leg for the back one.
    """
    gap = scene.facing * (scene.p(Side.LEFT, "ankle") - scene.p(Side.RIGHT, "ankle"))[scene.key, 0]
    middle = float(np.nanmedian(gap)) if np.isfinite(gap).any() else 0.0
    if scene.lead and abs(middle) < APART * scene.unit:
        return other(scene.lead)
    return Side.RIGHT if middle > 0 else Side.LEFT
