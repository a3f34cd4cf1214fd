"""An attempt in, its readings and curves out."""

from __future__ import annotations

from dataclasses import replace

from pipeline.attempts.attempt import Attempt
from pipeline.landmarks.choose import open_choice
from pipeline.landmarks.track import Track
from pipeline.measures import (
    backward_roll,
    cartwheel,
    cartwheel_hands,
    cartwheel_shape,
    loaded_lunge,
    lunge,
    roll_finish,
    roll_hands,
    sharpness,
    shoulder_stand,
    stand_rise,
    steps,
    words,
)  # fmt: skip
from pipeline.measures.curves import FrameTable, curves, frame_errors, further_curves
from pipeline.measures.learnt import Corrections
from pipeline.measures.look import Look
from pipeline.measures.reading import Curve, Reading
from pipeline.measures.scene import Scene, make_scene
from pipeline.measures.uncertainty import Table, error_table
from pipeline.vocabulary import Side, Skill

_READINGS = {
    Skill.LUNGE: lunge.readings,
    Skill.LOADED_LUNGE: loaded_lunge.readings,
    Skill.SHOULDER_STAND: shoulder_stand.readings,
    Skill.BACKWARD_ROLL: backward_roll.readings,
    Skill.CARTWHEEL: cartwheel.readings,
}

_FURTHER = {  # details that look at moments, at single hands and feet, or at how fast
    Skill.LUNGE: (sharpness.readings,),
    Skill.LOADED_LUNGE: (),
    Skill.SHOULDER_STAND: (stand_rise.readings, sharpness.readings),
    Skill.BACKWARD_ROLL: (roll_finish.readings, roll_hands.readings, steps.readings),
    Skill.CARTWHEEL: (cartwheel_shape.readings, cartwheel_hands.readings, steps.readings),
}


def measure_attempt(
    track: Track,
    attempt: Attempt,
    *,
    lead_side: Side = Side.NONE,
    table: Table | None = None,
    frames: FrameTable | None = None,
    learnt: Corrections | None = None,
) -> tuple[list[Reading], list[Curve]]:
    """Every detail of the attempt's skill, each with a 95 % interval or a reason why not, and the curves to plot.

    lead_side: from the roster, used only where the picture did not tell which leg leads.
    table, frames, learnt: known errors of readings, of single frames and at poses; the committed ones where none are given.
    """
    table = error_table() if table is None else table
    scene = make_scene(track, attempt, lead_side=lead_side, learnt=learnt)
    look = Look(scene, track, attempt, attempt.lead_side or lead_side)
    found = _READINGS[attempt.skill](scene, table)
    for further in _FURTHER[attempt.skill]:
        found += further(look, table)
    contradicted = _contradicted(scene, track)
    if contradicted:
        return [_untold(reading, contradicted) for reading in found], []
    return found, curves(scene, table, frame_errors() if frames is None else frames) + further_curves(look, table)


def _contradicted(scene: Scene, track: Track) -> str:
    """Why what was seen may be somebody else's, whatever the joints say; an empty string where nothing speaks for it."""
    if open_choice(track.notes):
        return words.open_choice()
    if scene.skill in (Skill.LUNGE, Skill.LOADED_LUNGE):
        return words.arm_hangs() if lunge.arm_hangs(scene) else words.arm_elsewhere() if lunge.arm_elsewhere(scene) else ""
    return ""


def _untold(reading: Reading, reason: str) -> Reading:
    """The same detail without its value."""
    nothing = float("nan")
    return replace(reading, value=nothing, low=nothing, high=nothing, reason=reason, at_s=nothing, line=())
