"""The words: skills, details, verdicts and the columns of the files every run leaves. Imports nothing of ours."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import inf


class Skill(StrEnum):
    """A skill Matside recognises; the value is the id used in tables, configs and pages."""

    LUNGE = "lunge"
    LOADED_LUNGE = "loaded_lunge"
    CARTWHEEL = "cartwheel"
    BACKWARD_ROLL = "backward_roll"
    SHOULDER_STAND = "shoulder_stand"


class Verdict(StrEnum):
    """What a reading says against its tolerance."""

    MET = "met"
    CLOSE = "close"
    NOT_YET = "not yet"
    CANNOT_TELL = "cannot tell"


class Setting(StrEnum):
    """Whether a skill was done by itself or inside a routine."""

    ALONE = "alone"
    ROUTINE = "routine"


class Side(StrEnum):
    """The athlete's own left or right; NONE where a detail has no side."""

    LEFT = "left"
    RIGHT = "right"
    NONE = ""


DEGREES, CHORD, SHANK, SECONDS, LEG = "deg", "% chord", "% shank", "s", "% leg"
STEPS, HANDS, ARMS_PER_S, SPARC = "steps", "hands", "arms/s", "SPARC"
COUNTS = (STEPS, HANDS)  # whole numbers: the value is the likeliest count, low and high the counts that cannot be excluded at 95 %


@dataclass(frozen=True)
class Detail:
    """One thing looked at in a skill. `(skill, id)` is unique."""

    skill: Skill
    id: str
    unit: str
    title: str  # for headings: "Hips"
    what: str  # one sentence a coach understands
    sided: bool = False  # one reading per body side
    further: bool = False  # stands behind the body lines on pages and in the choice of a focus
    limits: tuple[float, float] = (-inf, inf)  # of an angle: what the body allows; hips may pass 180


L, T, S, R, C = Skill.LUNGE, Skill.LOADED_LUNGE, Skill.SHOULDER_STAND, Skill.BACKWARD_ROLL, Skill.CARTWHEEL
BENT, TURNED = (0.0, 180.0), (-180.0, 180.0)
_PEAK = "Highest speed of the hands about the shoulders while the arms lift, in arm lengths a second: sharp is fast, soft is slow."
_TO_PEAK = "Seconds from the start of the arms' movement to its highest speed: sharp is early."
_SMOOTH = "How smooth the arms' movement is, by the length of its speed's spectrum; nearer to 0 is smoother, jerks make it more negative."
DETAILS: tuple[Detail, ...] = (
    Detail(L, "line_deviation", CHORD, "One line", "How far the body leaves the straight line from fingertip to back heel, as a share of that line's length."),
    Detail(L, "shoulder_angle", DEGREES, "Shoulders open", "Angle at the shoulder between upper arm and trunk; 180 is open.", limits=BENT),
    Detail(L, "hip_angle", DEGREES, "Hips", "Angle at the back leg's hip between trunk and thigh; 180 is straight, less is piked, more is arched."),
    Detail(L, "knee_angle", DEGREES, "Back knee", "Angle at the back leg's knee; 180 is straight.", limits=BENT),
    Detail(L, "arms_by_ears", DEGREES, "Arms by the ears", "Angle between the upper arm and the trunk's line carried on past the ear; 0 is in line.", limits=BENT),
    Detail(L, "arm_peak_speed", ARMS_PER_S, "Arms, top speed", _PEAK, further=True),
    Detail(L, "arm_time_to_peak", SECONDS, "Arms, time to top speed", _TO_PEAK, further=True),
    Detail(L, "arm_smoothness", SPARC, "Arms, smoothness", _SMOOTH, further=True),
    Detail(T, "knee_angle", DEGREES, "Back knee bent", "Angle at the back leg's knee while the weight is loaded forward; 180 is straight.", limits=BENT),
    Detail(T, "lean_angle", DEGREES, "Lean", "How far the trunk leans from upright over the front leg; forward is positive.", limits=TURNED),
    Detail(T, "arms_by_ears", DEGREES, "Arms by the ears", "Angle between the upper arm and the trunk's line carried on past the ear; 0 is in line.", limits=BENT),
    Detail(S, "hip_angle", DEGREES, "Flat hips", "Angle shoulder-hip-ankle in the hold; 180 is flat, less is piked, more is arched."),
    Detail(S, "hip_knee_angle", DEGREES, "Hip fold", "Angle shoulder-hip-knee in the hold; 180 is flat."),
    Detail(S, "leg_to_vertical", DEGREES, "Legs upright", "How far the leg leans away from vertical in the hold.", limits=BENT),
    Detail(S, "toe_point", DEGREES, "Toes", "Angle between shank and foot in the hold; 180 is fully pointed.", limits=BENT),
    Detail(S, "legs_together", DEGREES, "Legs together", "Angle between the two legs in the hold; 0 is together.", further=True, limits=BENT),
    Detail(S, "rise_hands_used", HANDS, "Hands to rise", "How many hands touch the floor between the feet's landing and standing; 0 is wanted.", further=True),
    Detail(S, "finish_side", DEGREES, "Finish to the side", "How far she has turned at the end from the way she rose, towards her lead side; 90 is a quarter turn.", further=True),
    Detail(S, "arm_peak_speed", ARMS_PER_S, "Finish arms, top speed", _PEAK, further=True),
    Detail(S, "arm_time_to_peak", SECONDS, "Finish arms, time to top speed", _TO_PEAK, further=True),
    Detail(S, "arm_smoothness", SPARC, "Finish arms, smoothness", _SMOOTH, further=True),
    Detail(R, "knee_clearance", SHANK, "Knees off the floor", "Lowest point of either knee above the floor from feet overhead to standing, as a share of the shank."),
    Detail(R, "knee_contact_time", SECONDS, "Knees on the floor", "Seconds a knee is on the floor; 0 is wanted."),
    Detail(R, "standing_sway", LEG, "Steady stand", "How far the hips travel to and fro over the feet in the first second of standing, as a share of the leg.", further=True),
    Detail(R, "head_turn", DEGREES, "Head straight", "How far the face turns to a side while the hips are above the head; 0 is straight, and kind to the neck.", further=True),
    Detail(R, "hands_even", SECONDS, "Both hands push", "Seconds one hand is on the floor without the other; 0 is both together.", further=True),
    Detail(R, "extra_steps", STEPS, "Extra steps", "Steps taken after both feet have landed; 0 is wanted.", further=True),
    Detail(C, "knee_angle", DEGREES, "Straight legs", "Smallest knee angle while upside down; 180 is straight.", sided=True, limits=BENT),
    Detail(C, "legs_apart", DEGREES, "Legs apart", "Largest angle between the thighs while upside down; 180 is a split.", further=True, limits=BENT),
    Detail(C, "toe_point", DEGREES, "Toes", "Angle between shank and foot while upside down; 180 is fully pointed.", sided=True, further=True, limits=BENT),
    Detail(C, "hands_in_turn", SECONDS, "Hand after hand", "Seconds from the first hand's touch to the second's; 0 is both at once.", further=True),
    Detail(C, "hands_in_line", DEGREES, "Hands in line", "Angle between the line from hand to hand and the way she travels, on the floor; 0 is in line.", further=True, limits=(0.0, 90.0)),
    Detail(C, "head_to_hands", DEGREES, "Eyes on the hands", "Angle between where the face looks and the middle of the hands while upside down; 0 looks at them.", further=True),
    Detail(C, "step_together", STEPS, "Feet together", "Extra steps after the second foot lands, beyond the one that closes the feet; 0 is wanted.", further=True),
    Detail(C, "hand_turned_in", DEGREES, "Second hand turned in", "How far the second hand's fingers turn away from the way she travels, back towards where she came from.", further=True),
)  # fmt: skip
DETAIL = {(d.skill, d.id): d for d in DETAILS}


def known_detail(skill: str, detail: str) -> Detail | None:
    """The vocabulary's entry; None for one that this version does not know."""
    return DETAIL.get((Skill(skill), detail)) if skill in set(Skill) else None


READING_COLUMNS = (
    "clip", "athlete", "cohort", "date", "skill", "setting", "attempt", "start_s", "end_s", "detail", "side",
    "value", "low", "high", "unit", "usable_share", "verdict", "reason",
)  # fmt: skip
CLIP_COLUMNS = ("clip", "athlete", "date", "status", "reason", "frames", "seconds_of_work")
