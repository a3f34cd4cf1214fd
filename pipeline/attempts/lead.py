"""Which leg an athlete leads with, from several attempts."""

from __future__ import annotations

from pipeline.vocabulary import Side, Skill

TELLING = (Skill.LUNGE, Skill.LOADED_LUNGE, Skill.CARTWHEEL)  # skills in which the picture shows which leg leads
ENOUGH_ATTEMPTS = 3  # that tell a side; common practice, no source
ENOUGH_SHARE = 0.75  # of one side: a child who really does both sides leads with neither; common practice, no source


def lead_of(left: int, right: int) -> Side:
    """The lead side from how many attempts led with the left and how many with the right leg; NONE where they do not settle it.

    >>> lead_of(4, 1), lead_of(1, 0), lead_of(3, 3)
    (<Side.LEFT: 'left'>, <Side.NONE: ''>, <Side.NONE: ''>)
    """
    most, told = max(left, right), left + right
    settled = told >= ENOUGH_ATTEMPTS and most >= ENOUGH_SHARE * told
    return (Side.LEFT if left > right else Side.RIGHT) if settled else Side.NONE
