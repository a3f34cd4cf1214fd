"""The words: skills, details, verdicts and the columns of the files every run leaves. Imports nothing of ours."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Skill(StrEnum):
    """A skill Matside recognises; the value is the id used in tables, configs and pages."""

    LUNGE = "lunge"
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


@dataclass(frozen=True)
class Detail:
    """One thing looked at in a skill. `(skill, id)` is unique."""

    skill: Skill
    id: str
    unit: str
    title: str  # for headings: "Hips"
    what: str  # one sentence a coach understands
    sided: bool = False  # one reading per body side


L, S, R, C = Skill.LUNGE, Skill.SHOULDER_STAND, Skill.BACKWARD_ROLL, Skill.CARTWHEEL
DETAILS: tuple[Detail, ...] = (
    Detail(L, "line_deviation", CHORD, "One line", "How far the body leaves the straight line from fingertip to back heel, as a share of that line's length."),
    Detail(L, "shoulder_angle", DEGREES, "Shoulders open", "Angle at the shoulder between upper arm and trunk; 180 is open."),
    Detail(L, "hip_angle", DEGREES, "Hips", "Angle at the back leg's hip between trunk and thigh; 180 is straight, less is piked, more is arched."),
    Detail(L, "knee_angle", DEGREES, "Back knee", "Angle at the back leg's knee; 180 is straight."),
    Detail(L, "arms_by_ears", DEGREES, "Arms by the ears", "Angle between the upper arm and the trunk's line carried on past the ear; 0 is in line."),
    Detail(S, "hip_angle", DEGREES, "Flat hips", "Angle shoulder-hip-ankle in the hold; 180 is flat, less is piked, more is arched."),
    Detail(S, "hip_knee_angle", DEGREES, "Hip fold", "Angle shoulder-hip-knee in the hold; 180 is flat."),
    Detail(S, "leg_to_vertical", DEGREES, "Legs upright", "How far the leg leans away from vertical in the hold."),
    Detail(S, "toe_point", DEGREES, "Toes", "Angle between shank and foot in the hold; 180 is fully pointed."),
    Detail(R, "knee_clearance", SHANK, "Knees off the floor", "Lowest point of either knee above the floor from feet overhead to standing, as a share of the shank."),
    Detail(R, "knee_contact_time", SECONDS, "Knees on the floor", "Seconds a knee is on the floor; 0 is wanted."),
    Detail(C, "knee_angle", DEGREES, "Straight legs", "Smallest knee angle while upside down; 180 is straight.", sided=True),
)  # fmt: skip
DETAIL = {(d.skill, d.id): d for d in DETAILS}

READING_COLUMNS = (
    "clip", "athlete", "cohort", "date", "skill", "setting", "attempt", "start_s", "end_s", "detail", "side",
    "value", "low", "high", "unit", "usable_share", "verdict", "reason",
)  # fmt: skip
CLIP_COLUMNS = ("clip", "athlete", "date", "status", "reason", "frames", "seconds_of_work")
