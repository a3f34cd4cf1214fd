"""The Attempt type: one go at one skill inside a clip."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from pipeline.vocabulary import Setting, Side, Skill

# What happens when inside a skill, in the order in which it should happen. A moment that was not seen is left out, never guessed.
MOMENTS: Mapping[Skill, tuple[str, ...]] = MappingProxyType(
    {
        # arms_start_s: the arms leave the side on their way into the line
        Skill.LUNGE: ("arms_start_s", "hold_start_s", "hold_end_s"),
        Skill.LOADED_LUNGE: ("arms_start_s", "hold_start_s", "hold_end_s"),
        # hand1_s .. foot2_s: each hand and each foot comes down; together_s: the feet are closed; standing_s: she stands still
        Skill.CARTWHEEL: ("hand1_s", "hand2_s", "foot1_s", "foot2_s", "together_s", "standing_s"),
        # hands_s: the first hand comes down behind the head; over_s: the feet pass over the head; feet_s: the first foot comes down;
        # standing_s: she stands (hips high, trunk up, hands off the floor), from when sway counts
        Skill.BACKWARD_ROLL: ("hands_s", "over_s", "feet_s", "standing_s"),
        # lift_s: the hips leave the floor on the way up; feet_s: the first foot comes down after the hold; rise_s: the hips leave the floor
        # on the way to standing; standing_s: she stands; finish_s: the pose after it is still
        Skill.SHOULDER_STAND: ("lift_s", "hold_start_s", "hold_end_s", "feet_s", "rise_s", "standing_s", "finish_s"),
    }
)


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
    moments: Mapping[str, float] = field(default_factory=dict, hash=False)  # name in MOMENTS[skill] -> seconds; one not seen is missing

    def moment(self, name: str) -> float:
        """Seconds at which something happened (a name of MOMENTS[skill]); NaN where it was not seen."""
        if name not in MOMENTS.get(self.skill, ()):
            raise ValueError(f"{self.skill}: no moment {name!r}; it has {', '.join(MOMENTS.get(self.skill, ()))}.")
        return float(self.moments.get(name, float("nan")))
