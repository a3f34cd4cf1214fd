"""What the pages say about the details beyond the main lines: loaded lunge, hands, head, feet, finishes, sharp and soft."""

from __future__ import annotations

from pipeline.reports.wording import DetailWords
from pipeline.vocabulary import Skill


def _(text: str) -> str:  # marks words for the catalogue; translated where they are shown
    return text


L, T, S, R, C = Skill.LUNGE, Skill.LOADED_LUNGE, Skill.SHOULDER_STAND, Skill.BACKWARD_ROLL, Skill.CARTWHEEL
_SHARP = _("Sharp is fast and early, soft is slow and even: look whether it is what this passage asks for.")
_PEAK = DetailWords(
    _("While the arms lift, the speed of the hands about the shoulders is followed, and its highest value is read in arm lengths a second."),
    _SHARP, _("slower"), _("faster"), _("Clap the beat: the arms arrive on it, not after it."), _("Let the arms float up over four slow counts."),
)  # fmt: skip
_TO_PEAK = DetailWords(
    _("The time from the moment the arms begin to move to their highest speed is read."),
    _SHARP, _("earlier"), _("later"), _("Start slowly and grow."), _("Go at once with the beat."),
)  # fmt: skip
_SMOOTH = DetailWords(
    _("The speed of the arms is taken apart into slow and quick changes; the more quick ones, the further below 0 the number."),
    _("One movement without a stop or a second start."), _("less smooth"), "", _("One path from hip to ear in one breath, without a stop."), "",
)  # fmt: skip
_STEPS_HOW = _("From the feet's landing until she stands still, every time a foot is set down anew is counted.")
_STICK = _("Land, bend the knees a little and freeze until the coach has counted to three.")

FURTHER_WORDS: dict[tuple[Skill, str], DetailWords] = {
    (L, "arm_peak_speed"): _PEAK,
    (L, "arm_time_to_peak"): _TO_PEAK,
    (L, "arm_smoothness"): _SMOOTH,
    (T, "knee_angle"): DetailWords(
        _("While the loaded lunge is held, the angle at the back knee between thigh and shank is read."),
        _("The back knee bent and ready, the heel up."),
        _("deeper than wanted"), _("straighter than wanted"),
        _("Lift the back knee a little off the floor; the weight is in front, not in the back leg."),
        _("Let the back knee sink and the heel rise: a spring that is pressed."),
    ),
    (T, "lean_angle"): DetailWords(
        _("While the loaded lunge is held, the lean of the line from the hips to the shoulders away from upright is read, forward positive."),
        _("The trunk over the front leg, ready to reach."),
        _("short of the lean wanted"), _("past the lean wanted"),
        _("Bring the chest over the front knee and look at where the hands will go."),
        _("Keep the chest up: lean from the hips, with a long back."),
    ),
    (T, "arms_by_ears"): DetailWords(
        _("While the loaded lunge is held, the angle between the upper arm and the trunk's line carried on past the ear is read."),
        _("Upper arms beside the ears, also on the way down."),
        "", _("away from the ears"), "",
        _("Hide the ears between the arms before the weight goes forward, and keep them hidden."),
    ),
    (S, "legs_together"): DetailWords(
        _("In the stillest, highest part of the hold, the angle between the lines from hip to ankle of the two legs is read, where one leg does not hide the other."),
        _("The legs as one."),
        "", _("apart"), "",
        _("Hold a sheet of paper between the ankles and keep it there."),
    ),
    (S, "rise_hands_used"): DetailWords(
        _("From the feet's landing to standing, the hands that touch the floor are counted."),
        _("Up to standing without a hand."),
        "", _("on the floor"), "",
        _("Heels close to the seat, chest forward, arms reaching ahead; roll down a wedge first."),
    ),
    (S, "finish_side"): DetailWords(
        _("The width of the shoulders and hips and which side is nearer tell which way she faces, standing before and at the end; the turn between is read."),
        _("Finished to the side that belongs to her lead leg."),
        _("short of the quarter turn"), _("past the quarter turn"),
        _("Put a mark on the wall where the chest looks at the end."),
        _("Put a mark on the wall where the chest looks at the end."),
    ),
    (S, "arm_peak_speed"): _PEAK,
    (S, "arm_time_to_peak"): _TO_PEAK,
    (S, "arm_smoothness"): _SMOOTH,
    (R, "standing_sway"): DetailWords(
        _("In the first second of standing, the way of the hips to and fro over the feet is added up, less what the landmarks' own jitter would add."),
        _("Stands at once."),
        "", _("to and fro"), "",
        _("Land on both feet, knees soft, eyes on a spot on the wall until the coach has counted to three."),
    ),
    (R, "head_turn"): DetailWords(
        _("One phone beside the mat does not show whether the head turns, so there is no number; the coach's own eye decides."),
        _("Chin in, head straight between the hands."),
        "", _("to a side"), "",
        _("Stop and go back to the wedge: chin on the chest, hold a soft pad under it, hands push so that the neck carries nothing."),
    ),
    (R, "hands_even"): DetailWords(
        _("From the first hand's touch to the feet's landing, the time in which only one hand is on the floor is added up."),
        _("Both hands push together."),
        "", _("on one hand only"), "",
        _("Hands beside the ears like big ears, both thumbs in; push as if lifting the floor away."),
    ),
    (R, "extra_steps"): DetailWords(_STEPS_HOW, _("Stands without a step."), "", "", "", _STICK),
    (C, "legs_apart"): DetailWords(
        _("From the first hand down to the first foot down, the largest angle between the two thighs is read."),
        _("Legs wide open over the hands."),
        _("short of the width wanted"), "",
        _("Cartwheel along a line with a partner's call 'star' when the hips are over the hands."),
        "",
    ),
    (C, "toe_point"): DetailWords(
        _("From the first hand down to the first foot down, how far the toes lie beyond the heel along the shank tells the angle between shank and foot, each foot by itself."),
        _("Feet stretched in the line of the shank."),
        _("short of pointed"), "",
        _("Paint the ceiling with the toes on the way over."),
        "",
    ),
    (C, "hands_in_turn"): DetailWords(
        _("The time between the touches of the first and the second hand is read."),
        _("One hand, then the other."),
        _("too short: both at nearly the same time"), "",
        _("Say 'hand, hand, foot, foot' aloud while going slowly over a line or a low box."),
        "",
    ),
    (C, "hands_in_line"): DetailWords(
        _("The line between the two hands on the floor is laid against the way she travels. What lies in depth one phone sees poorly: the range is wide."),
        _("Both hands on the line."),
        "", _("off the line"), "",
        _("Chalk two hands on a line of the mat and put the hands into them."),
    ),
    (C, "head_to_hands"): DetailWords(
        _("In a clip of the whole body the face is too small to tell, so there is no number; the coach's own eye decides."),
        _("Face turned to the hands."),
        "", _("away from the hands"), "",
        _("Stick a dot between the hands on the mat and keep the eyes on it until the feet are down."),
    ),
    (C, "step_together"): DetailWords(
        _("From the second foot's landing until she stands still, every time a foot is set down anew is counted, less the one step that closes the feet."),
        _("Feet closed in one step, then still."), "", "", "",
        _("Finish onto a drawn box: second foot to the first, arms up, freeze."),
    ),
    (C, "hand_turned_in"): DetailWords(
        _("Where the second hand is seen well enough, the way its fingers point on the floor is laid against the way she travels."),
        _("The second hand's fingers look back to the first."),
        _("short of turned in"), "",
        _("Draw two hands on the floor, the second one looking back at the first, and put the hands into them."),
        "",
    ),
}  # fmt: skip
