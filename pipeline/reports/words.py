"""What the pages say about each skill and detail, in a coach's words. No numbers live here; they come from the tolerances."""

from __future__ import annotations

from pipeline.reports.further_words import FURTHER_WORDS
from pipeline.reports.wording import DetailWords, SkillWords
from pipeline.vocabulary import Skill, Verdict


def _(text: str) -> str:  # marks words for the catalogue; translated where they are shown
    return text


SIDE_VIEW = _("Film from the side, phone still and level with the hips, the whole body in the picture from first step to last.")
SKILL_WORDS: dict[Skill, SkillWords] = {
    Skill.LUNGE: SkillWords(_("Lunge"), _("hold"), SIDE_VIEW, _("Short holds; pain means stop.")),
    Skill.LOADED_LUNGE: SkillWords(
        _("Loaded lunge"), _("hold"), SIDE_VIEW, _("The front knee stays over the foot; short holds; pain means stop.")
    ),
    Skill.CARTWHEEL: SkillWords(
        _("Cartwheel"),
        _("upside down"),
        _("Film from the front, phone still, so that the cartwheel travels across the picture with feet and hands always in it."),
        _("Hands and wrists carry the weight: few repeats, warm wrists, and pain means stop."),
    ),
    Skill.BACKWARD_ROLL: SkillWords(
        _("Backward roll"),
        _("feet overhead to standing"),
        SIDE_VIEW,
        _("The hands take the weight so that the neck does not; spot at the hips; pain means stop."),
    ),
    Skill.SHOULDER_STAND: SkillWords(
        _("Shoulder stand"),
        _("hold"),
        SIDE_VIEW,
        _("Weight on shoulders and upper arms, never on the neck; no turning of the head; pain means stop."),
    ),
}
HOW_SURE = _(
    "The ± covers how much it moved meanwhile, how well joints can be placed in this position, and a camera that does not "
    "stand square: in about 95 of 100 readings the true value lies within it."
)
_KNEES_NEXT = _("Pull the kneecaps up and reach through the heels; slow goes with a hand on the thigh to remind.")

L, C, R, S = Skill.LUNGE, Skill.CARTWHEEL, Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND
DETAIL_WORDS: dict[tuple[Skill, str], DetailWords] = {
    (L, "line_deviation"): DetailWords(
        _("While the lunge is held, the joint furthest from the straight line between fingertips and back heel is measured."),
        _("Fingertips, shoulders, hips and back heel on one line."),
        "",
        _("off the line"),
        "",
        _("Look at the picture for where the line breaks first, and work on that joint only."),
    ),
    (L, "shoulder_angle"): DetailWords(
        _("While the lunge is held, the angle at the shoulder between the upper arm and the trunk is read on the side nearer to the camera."),
        _("Arms carried on in the line of the trunk."),
        _("short of open"),
        _("past open"),
        _("Stretch the arms up the wall with the ribs in; then lunge with the same feeling."),
        _("Keep the ribs in while the arms reach."),
    ),
    (L, "hip_angle"): DetailWords(
        _("While the lunge is held, the angle at the back leg's hip between trunk and thigh is read."),
        _("Trunk and back thigh in one line."),
        _("piked"),
        _("arched"),
        _("Squeeze the seat of the back leg and bring the hips forward over the front foot."),
        _("Ribs in, tail down: make the trunk long before the lunge grows deep."),
    ),
    (L, "knee_angle"): DetailWords(
        _("While the lunge is held, the angle at the back knee between thigh and shank is read."),
        _("The back leg straight, heel reaching away."),
        _("bent"),
        _("past straight"),
        _KNEES_NEXT,
        _("Straight is enough: keep the thigh working so that the knee does not sink back."),
    ),
    (L, "arms_by_ears"): DetailWords(
        _("While the lunge is held, the angle between the upper arm and the trunk's line carried on past the ear is read."),
        _("Upper arms beside the ears."),
        "",
        _("away from the ears"),
        "",
        _("Lunge with a soft ball held between the hands, arms squeezing the ears."),
    ),
    (S, "hip_angle"): DetailWords(
        _("In the stillest, highest part of the hold, the angle at the hip between the lines to shoulder and ankle is read, nearer side."),
        _("Shoulders, hips and ankles on one line."),
        _("piked"),
        _("arched"),
        _("Hands support the back, elbows narrow: push the hips up to the ceiling and squeeze the seat."),
        _("Bring the ribs in and the toes back over the hips."),
    ),
    (S, "hip_knee_angle"): DetailWords(
        _("In the stillest, highest part of the hold, the angle at the hip between the lines to shoulder and knee is read, nearer side."),
        _("Shoulders, hips and knees on one line."),
        _("folded"),
        _("arched"),
        _("Push the hips up to the ceiling and squeeze the seat."),
        _("Bring the ribs in and the knees back over the hips."),
    ),
    (S, "leg_to_vertical"): DetailWords(
        _("In the stillest, highest part of the hold, the lean of the line from hip to ankle away from upright is read."),
        _("Legs straight up."),
        "",
        _("away from upright"),
        "",
        _("Touch a hanging ribbon or a partner's hand with the toes, straight above the hips."),
    ),
    (S, "toe_point"): DetailWords(
        _("In the stillest, highest part of the hold, the angle between shank and foot is read."),
        _("Feet stretched in the line of the shank."),
        _("short of pointed"),
        "",
        _("Point with the whole foot, not with the toes alone; seated stretches first, then in the hold."),
        "",
    ),
    (R, "knee_clearance"): DetailWords(
        _("From the feet passing overhead to standing, the lowest point of either knee above the floor is read."),
        _("Daylight under the knees until the feet stand."),
        _("short of the clearance wanted"),
        "",
        _("Push the floor away with both hands and land on the feet; roll down a wedge first."),
        "",
    ),
    (R, "knee_contact_time"): DetailWords(
        _("From the feet passing overhead to standing, the time in which a knee is on the floor is added up."),
        _("Feet land first; no knee touches the floor."),
        "",
        _("with a knee on the floor"),
        "",
        _("Push the floor away with both hands and land on the feet; roll down a wedge first."),
    ),
    (C, "knee_angle"): DetailWords(
        _(
            "From the first hand down to the first foot down, the smallest angle at the knee between thigh and shank is read, each leg by itself. "
            "A knee that bends towards the phone or away from it looks straighter in the picture than its number says."
        ),
        _("Both legs straight all the way over."),
        _("bent"),
        _("past straight"),
        _KNEES_NEXT,
        _("Straight is enough."),
    ),
} | FURTHER_WORDS  # fmt: skip
GENERIC = DetailWords(_("Read from the landmarks over the key window."), "", _("under"), _("over"), "", "")

VERDICT_WORDS: dict[Verdict, str] = {
    Verdict.MET: _("met"),
    Verdict.CLOSE: _("close"),
    Verdict.NOT_YET: _("not yet"),
    Verdict.CANNOT_TELL: _("cannot tell"),
}
VERDICT_MEANS: dict[Verdict, str] = {
    Verdict.MET: _("the whole range lies within the tolerance"),
    Verdict.CLOSE: _("near the tolerance, or across its edge"),
    Verdict.NOT_YET: _("the whole range lies beyond close"),
    Verdict.CANNOT_TELL: _("not seen well enough to say"),
}
STATUS_WORDS: dict[str, str] = {
    "measured": _("measured"),
    "nothing found": _("nothing found"),
    "skipped": _("skipped"),
    "failed": _("failed"),
    "needs you": _("needs you"),
}
INTENT_WORDS = {
    "sharp": _("meant to be sharp: fast, with an early peak, then still."),
    "soft": _("meant to be soft: slow and even from beginning to end."),
}
PLAYER_WORDS = {
    "group": _("Play the attempt"),
    "play": _("Play"),
    "pause": _("Pause"),
    "back": _("One frame back"),
    "on": _("One frame on"),
    "key": _("To the moment read"),
    "pace": _("Speed"),
    "video": _("The attempt, moving; all but the athlete's body blurred"),
    "best": _("the attempt nearest to what is wanted, at the same phase"),
}
WEEK_WORDS = {
    "athlete": _("Athlete"),
    "cohort": _("Cohort"),
    "skill": _("Skill"),
    "verdict": _("Verdict"),
    "all_cohorts": _("all"),
    "all_skills": _("all"),
    "all_verdicts": _("any"),
    "sort": _("%s: furthest from wanted first"),
    "shown": _("%(shown)d of %(all)d athletes shown"),
}
CAUTION = _(
    "A coach's eye and safe spotting come first; a number never replaces them. Pain means stop. Nothing here is medical advice. "
    "What may be filmed, kept and shown is decided by your federation and your club's safeguarding rules."
)
