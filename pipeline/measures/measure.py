"""An attempt in, its readings and curves out."""

from __future__ import annotations

from pipeline.attempts.attempt import Attempt
from pipeline.landmarks.track import Track
from pipeline.measures import backward_roll, cartwheel, loaded_lunge, lunge, shoulder_stand
from pipeline.measures.curves import curves
from pipeline.measures.reading import Curve, Reading
from pipeline.measures.scene import make_scene
from pipeline.measures.uncertainty import Table, error_table
from pipeline.vocabulary import Side, Skill

_READINGS = {
    Skill.LUNGE: lunge.readings,
    Skill.LOADED_LUNGE: loaded_lunge.readings,
    Skill.SHOULDER_STAND: shoulder_stand.readings,
    Skill.BACKWARD_ROLL: backward_roll.readings,
    Skill.CARTWHEEL: cartwheel.readings,
}


def measure_attempt(
    track: Track,
    attempt: Attempt,
    *,
    lead_side: Side = Side.NONE,
    table: Table | None = None,
) -> tuple[list[Reading], list[Curve]]:
    """Every detail of the attempt's skill, each with a 95 % interval or a reason why not, and the curves to plot.

    lead_side: from the roster, used only where the picture did not tell which leg leads.
    table: known errors; the committed ones where none are given.
    """
    table = error_table() if table is None else table
    scene = make_scene(track, attempt, lead_side=lead_side)
    return _READINGS[attempt.skill](scene, table), curves(scene, table)
