"""The Attempt type: one go at one skill inside a clip."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.vocabulary import Setting, Side, Skill


@dataclass(frozen=True)
class Attempt:
    """Times are seconds from the clip's first shown frame."""

    skill: Skill
    number: int  # 1, 2, ... within the clip, in time order
    start_s: float
    end_s: float
    key_start_s: float  # the key window: hold (lunge, shoulder stand), inverted (cartwheel), feet overhead to standing (roll)
    key_end_s: float
    direction: int  # +1 the athlete faces or travels to the picture's right, -1 to its left
    lead_side: Side  # the leg found in front or kicking last; Side.NONE if it cannot be told
    setting: Setting
    certainty: float  # 0..1, how clearly this skill fits and the others do not
    told: bool = False  # the skill came from clips.csv, not from the picture
