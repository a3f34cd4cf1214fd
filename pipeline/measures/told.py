"""A held angle between what its points draw and what the near look tells of it (landmarks/near_angles.py), before anything is put right.

Points draw the angle in the picture; the near look's head was taught the angle in space, under clothes and from the side or a little off it.
The reading goes SHARE of the way towards its word where both agree within CLOSE degrees, and less and less of it up to FAR: further apart it has
another limb in mind, or a body unlike those it was taught on. How far apart they are is a doubt of its own: the interval widens with it.
Where the near look sees a joint of the line a third of a trunk away, nothing is read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.landmarks.holds import eased
from pipeline.landmarks.near_angles import ANGLES
from pipeline.measures import words
from pipeline.measures.scene import Scene
from pipeline.measures.uncertainty import Evidence
from pipeline.vocabulary import Side

SHARE = 0.7
CLOSE, FAR = 6.0, 10.0  # degrees between the two
DOUBT = 0.25  # of that distance: one sd, as the distance between two passes is


def told(scene: Scene, side: Side, angle: str) -> float:
    """Degrees of one of near_angles.ANGLES over the key window, hips counted round her front; NaN where nobody tells, inf where its joints
    are seen elsewhere."""
    return float(scene.told[ANGLES.index(angle) + (len(ANGLES) if side is Side.RIGHT else 0)])


def part_of(apart: float) -> float:
    """How far a value goes towards a word that is `apart` degrees from it."""
    return SHARE * apart * float(np.clip((FAR - abs(apart)) / (FAR - CLOSE), 0.0, 1.0))


def curve_towards(scene: Scene, value: np.ndarray, word: float) -> np.ndarray:
    """(n,) degrees at every frame, moved over the hold as its middle goes towards the word, and gradually EASE_S before and after it; as they
    came where there is none."""
    held = scene.t[scene.key]
    known = value[scene.key][np.isfinite(value[scene.key])]
    if not len(known) or not np.isfinite(word):
        return value
    return value + part_of(word - float(np.median(known))) * eased(scene.t, (held[0], held[-1]))


def seen_elsewhere(evidence: Evidence, where: str = "In the hold") -> Evidence:
    """The evidence without its value: the near look sees a joint of its line elsewhere. Another problem goes first."""
    return evidence if evidence.problem else replace(evidence, value=float("nan"), problem=words.seen_elsewhere(where))


def towards(evidence: Evidence, word: float) -> Evidence:
    """The evidence with its value moved towards the near look's word, degrees, and its doubt; without a value where that sees the joints elsewhere,
    unchanged where there is none or nothing was read."""
    if np.isinf(word):
        return seen_elsewhere(evidence)
    apart = word - evidence.value
    if evidence.problem or not np.isfinite(apart):
        return evidence
    value = float(np.clip(evidence.value + part_of(apart), *evidence.limits))
    return replace(evidence, value=value, passes=float(np.hypot(evidence.passes, DOUBT * apart)))
