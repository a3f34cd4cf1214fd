"""Why there is no reading, in full sentences a coach understands, each with how to film it next time."""

from __future__ import annotations

FEW_SEEN = 0.5  # less of the window seen than this: no reading
SAME_LENGTH = 0.68  # of the legs' length elsewhere in the clip; a body this much shorter is somebody else's, or one limb taken for another
ARM_HANGS = 75.0  # degrees between the upper arm and the trunk: drawn lunges with all their faults have 112 and more, hanging arms below 65
TOO_SMALL = 28.0  # pixels a trunk; below, a joint's error of a few pixels is over 10 degrees
TOO_TURNED = 40.0  # degrees off square beyond which no correction was checked
TOO_TURNED_FRONT = 62.0  # the same for a view from the front, where apparent widths tell the angle less well

SIDE_VIEW = "Stand square to the side of the mat, the whole body in the picture from start to end."
FRONT_VIEW = "Film the cartwheel from the front, across its path, the whole body in the picture from start to end."


def not_seen(what: str, share: float, where: str, advice: str) -> str:
    """`what` was seen in too few frames."""
    return f"The {what} could be seen in only {100 * share:.0f} % of the {where}. {advice}"


def too_small() -> str:
    """The athlete fills too little of the picture."""
    return "The athlete is too small in the picture to measure; come closer or zoom in so that she fills about half of its height."


def too_turned(degrees: float, advice: str) -> str:
    """The view is too far off square."""
    return f"The camera looked about {degrees:.0f}° off the direction it should. {advice}"


def another_body(share: float, where: str) -> str:
    """The legs look much shorter in the window than in the rest of the clip."""
    return f"In the {where} the legs look only {100 * share:.0f} % as long as in the rest of the clip, so somebody else was probably followed. Keep others away from the mat while you film."


def open_choice() -> str:
    """It is not clear which of two people is the athlete."""
    return "Two people move much alike in this clip, so it is not sure who was measured. Film one child at a time, with nobody else moving beside her."


def arm_hangs() -> str:
    """The shape seen in a lunge's hold is not the one a lunge is known by."""
    return "In the hold the nearer arm was seen hanging, where a lunge has both overhead, so somebody else was probably measured. Lift both arms beside the ears, with nobody close by while you film."


def seen_elsewhere(where: str) -> str:
    """Two networks see a joint of the line in different places. where: "In the hold" or "Upside down"."""
    return f"{where} two looks place the joints of this line differently, so they may be somebody else's. Keep others away from the mat while you film."


def arm_elsewhere() -> str:
    """Two networks see the nearer arm in different places."""
    return "In the hold two looks place the nearer arm differently, so somebody else's may have been taken for it. Keep others away from the mat while you film."


def no_floor() -> str:
    """The floor line could not be found."""
    return "The floor could not be found, because feet and hands were hardly seen resting on it. Keep the mat and the feet in the picture, also before and after the roll."
