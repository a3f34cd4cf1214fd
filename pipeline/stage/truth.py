"""True details of a movement, from its 3-D joints and skin alone. Shares no code with the measures it is there to check.

Angles at the hip and the shoulder are taken in the athlete's own side plane (square to the line between the hips), as a
goniometer is held; the knee's in space, as it is a hinge. All moments are at timing.RATE, finer than the clip's frames.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.stage.motions.movement import Span
from pipeline.stage.truths.backward_roll import backward_roll
from pipeline.stage.truths.cartwheel import cartwheel, inverted_window
from pipeline.stage.truths.geometry import Attempt, TrueDetail, angle, directed
from pipeline.stage.truths.lunge import loaded_lunge, lunge
from pipeline.stage.truths.shoulder_stand import shoulder_stand
from pipeline.vocabulary import Side, Skill

__all__ = ["TrueAttempt", "TrueDetail", "angle", "directed", "inverted_window", "true_attempt"]
MEASURE = {
    Skill.LUNGE: lunge, Skill.LOADED_LUNGE: loaded_lunge, Skill.SHOULDER_STAND: shoulder_stand, Skill.BACKWARD_ROLL: backward_roll,
    Skill.CARTWHEEL: cartwheel,
}  # fmt: skip


@dataclass(frozen=True)
class TrueAttempt:
    """What truly happened in one attempt. Times are seconds from the clip's first frame."""

    span: Span
    key: tuple[float, float]
    details: tuple[TrueDetail, ...]


def true_attempt(t: np.ndarray, joints: dict[str, np.ndarray], low: dict[str, np.ndarray], span: Span, near: Side) -> TrueAttempt:
    """True key window and details of one attempt.

    joints, low : from `joints.landmarks` and `joints.heights` at times t; near : the side nearer to the camera, whose limbs
    stand for the details without a side (for the lunge's legs it is the back leg, whichever side that is).
    """
    key, details = MEASURE[span.skill](Attempt(t, joints, low, span, near))
    return TrueAttempt(span, key, tuple(details))
