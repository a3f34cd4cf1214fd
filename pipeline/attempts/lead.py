"""Which leg an athlete leads with, from several attempts, and whether the roster says the same."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.attempts.attempt import Attempt
from pipeline.vocabulary import Side, Skill

TELLING = (Skill.LUNGE, Skill.LOADED_LUNGE, Skill.CARTWHEEL)  # skills in which the picture shows which leg leads
READ_WRONG = 0.1  # share of attempts whose side is read wrongly, taken on the safe side: on the benchmark's clips 0.03 are
ENOUGH_ATTEMPTS = 3  # that tell a side; common practice, no source
ENOUGH_SHARE = 0.75  # of one side: a child who really does both sides leads with neither; common practice, no source


@dataclass(frozen=True)
class Lead:
    """The side found: `of` attempts out of `out_of` that told one show it. `side` is NONE where they do not settle it."""

    side: Side
    of: int  # attempts with the side seen more often
    out_of: int
    certainty: float  # 0.5..1 that it is that side rather than the other, were she to lead with one only


def lead_from(attempts: Iterable[Attempt]) -> Lead:
    """The lead side from attempts at the skills that show it; those that could not tell are left out.

    Certainty by Bayes' rule with both sides as likely beforehand and each attempt read wrongly with READ_WRONG, independently.
    """
    told = [a.lead_side for a in attempts if a.skill in TELLING and a.lead_side is not Side.NONE]
    return lead_of(told.count(Side.LEFT), told.count(Side.RIGHT))


def lead_of(left: int, right: int) -> Lead:
    """The lead side from how many attempts led with the left and how many with the right leg.

    >>> lead_of(4, 1).side, lead_of(1, 0).side, lead_of(3, 3).side
    (<Side.LEFT: 'left'>, <Side.NONE: ''>, <Side.NONE: ''>)
    """
    most, least = max(left, right), min(left, right)
    certainty = 1 / (1 + (READ_WRONG / (1 - READ_WRONG)) ** (most - least))
    settled = most + least >= ENOUGH_ATTEMPTS and most >= ENOUGH_SHARE * (most + least)
    side = (Side.LEFT if left > right else Side.RIGHT) if settled else Side.NONE
    return Lead(side, most, most + least, certainty)


def mismatch(found: Lead, roster: Side) -> str:
    """One sentence where the attempts and the roster name different sides; empty where they do not, or one of them names none.

    >>> mismatch(lead_of(4, 1), Side.RIGHT)
    'The roster says she leads with the right leg, but 4 of 5 attempts lead with the left.'
    """
    if Side.NONE in (found.side, roster) or found.side is roster:
        return ""
    return f"The roster says she leads with the {roster} leg, but {found.of} of {found.out_of} attempts lead with the {found.side}."
