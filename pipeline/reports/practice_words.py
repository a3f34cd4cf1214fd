"""What the practice sheet and the focus say: cues of five words at most, stations, spotting. Common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.practice.focus import NECK, WRISTS
from pipeline.vocabulary import Skill


def _(text: str) -> str:  # marks words for the catalogue; translated where they are shown
    return text


MOST_WORDS = 5


@dataclass(frozen=True)
class Cue:
    """What to say to a child whose reading lies under or over the target; empty where that side does not count.
    `%(side)s` stands for one word: left, right or both."""

    under: str = ""
    over: str = ""

    def of(self, direction: str) -> str:
        """The cue for a direction; where that is not known or does not count, the one there is."""
        asked = self.over if direction == "over" else self.under
        return asked or self.under or self.over


L, T, S, R, C = Skill.LUNGE, Skill.LOADED_LUNGE, Skill.SHOULDER_STAND, Skill.BACKWARD_ROLL, Skill.CARTWHEEL
_EARS = Cue(over=_("Squeeze ears with both arms"))
_SHARP, _EARLY, _SMOOTH = (
    Cue(_("Arms up, quick and sharp"), _("Arms up, slow and soft")),
    Cue(_("Let the arms begin gently"), _("Send the arms at once")),
    Cue(_("One smooth lift, no stops"), _("One smooth lift, no stops")),
)
CUES: dict[tuple[Skill, str], Cue] = {
    (L, "line_deviation"): Cue(over=_("One line, heel to fingers")),
    (L, "shoulder_angle"): Cue(_("Reach long past the ears"), _("Ribs in while arms reach")),
    (L, "hip_angle"): Cue(_("Squeeze seat, hips forward"), _("Ribs in, tail down")),
    (L, "knee_angle"): Cue(_("Back knee long and strong"), _("Soften the back knee")),
    (L, "arms_by_ears"): _EARS,
    (L, "arm_peak_speed"): _SHARP,
    (L, "arm_time_to_peak"): _EARLY,
    (L, "arm_smoothness"): _SMOOTH,
    (T, "knee_angle"): Cue(_("Back knee a little longer"), _("Bend the back knee, load")),
    (T, "lean_angle"): Cue(_("Chest forward over the foot"), _("Lean less, lift the chest")),
    (T, "arms_by_ears"): _EARS,
    (S, "hip_angle"): Cue(_("Push hips to the ceiling"), _("Ribs in, toes above hips")),
    (S, "hip_knee_angle"): Cue(_("Open the hips, squeeze seat"), _("Ribs in, knees above hips")),
    (S, "leg_to_vertical"): Cue(over=_("Toes straight above the hips")),
    (S, "toe_point"): Cue(_("Stretch toes to the ceiling")),
    (S, "legs_together"): Cue(over=_("Glue the legs together")),
    (S, "rise_hands_used"): Cue(over=_("Stand up without hands")),
    (S, "finish_side"): Cue(_("Finish facing your lead side"), _("Turn less, then stand still")),
    (S, "arm_peak_speed"): _SHARP,
    (S, "arm_time_to_peak"): _EARLY,
    (S, "arm_smoothness"): _SMOOTH,
    (R, "knee_clearance"): Cue(_("Push the floor, feet first")),
    (R, "knee_contact_time"): Cue(over=_("Land on feet, never knees")),
    (R, "standing_sway"): Cue(over=_("Stand still, count to three")),
    (R, "head_turn"): Cue(over=_("Chin in, look at tummy")),
    (R, "hands_even"): Cue(over=_("Push with both hands together")),
    (R, "extra_steps"): Cue(over=_("Land and freeze, no steps")),
    (C, "knee_angle"): Cue(_("Pull the %(side)s kneecap up"), _("Soften the %(side)s knee")),
    (C, "legs_apart"): Cue(_("Kick wide like a star")),
    (C, "toe_point"): Cue(_("Point the %(side)s foot hard")),
    (C, "hands_in_turn"): Cue(_("One hand, then the other"), _("Second hand follows at once")),
    (C, "hands_in_line"): Cue(over=_("Both hands on the line")),
    (C, "head_to_hands"): Cue(over=_("Eyes stay on the hands")),
    (C, "step_together"): Cue(over=_("Feet together, then stay")),
    (C, "hand_turned_in"): Cue(_("Turn the second hand in"), _("Turn second hand less")),
}
BOTH_SIDES: dict[str, str] = {  # where left and right are both short; the same cues for two
    CUES[C, "knee_angle"].under: _("Pull both kneecaps up"),
    CUES[C, "knee_angle"].over: _("Soften both knees"),
    CUES[C, "toe_point"].under: _("Point both feet hard"),
}
FILM_CUES: dict[Skill, str] = {
    **dict.fromkeys((L, T, S, R), _("Film side-on again")), C: _("Film front-on again"),
}  # fmt: skip
FILM, KEEP, SEEN, KEEP_LINES = _("Film it again"), _("Met: keep it"), _("Your eye decides"), _("Lines met: keep them")
NOT_FILMED, BY_EYE = _("Not filmed yet"), _("By eye: no filming consent")
LOADS = {NECK: _("the neck"), WRISTS: _("the wrists")}


@dataclass(frozen=True)
class StationWords:
    """What happens at a station; `spot` is for the grown-up, `caution` for everybody."""

    do: str
    spot: str
    caution: str


STATIONS: dict[Skill, StationWords] = {
    L: StationWords(_("Step along a line, hold, count to three."), _("Partner looks along the line."), _("Short holds.")),
    T: StationWords(
        _("Straight lunge, then bend the back knee and lean as if to go."), _("Partner looks: heel up, arms long."), _("Short holds.")
    ),
    C: StationWords(
        _("Hand, hand, foot, foot along a line."), _("Spot from behind, at the hips."), _("Wrists: warm, few goes, hands flat.")
    ),
    R: StationWords(
        _("Down a wedge, hands by ears, push."), _("Spot at the hips: lift, never push."), _("Neck: hands take the weight.")
    ),
    S: StationWords(
        _("Hands on the back, up, hold."), _("Kneel beside, steady the legs."), _("Neck: head still, weight on shoulders.")
    ),
}  # fmt: skip
OTHER_STATION = StationWords(_("As the coach shows it."), _("As the coach shows it."), "")
