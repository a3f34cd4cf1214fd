"""A routine's part that was followed as somebody else's comes back to who it was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts import whose
from pipeline.attempts.find import find_attempts
from pipeline.attempts.rejoin import rejoined
from pipeline.attempts.signals import trunk_length
from pipeline.landmarks.choose import OPEN_CHOICE, open_choice
from pipeline.landmarks.track import Track
from pipeline.vocabulary import Skill
from tests.attempts.test_find import join
from tests.measures import bodies
from tests.measures.bodies import film

BOTH = [Skill.LUNGE, Skill.BACKWARD_ROLL]


def routine() -> tuple[Track, int]:
    """A lunge and then a roll, and the frame between them."""
    lunge = bodies.lunge()
    return film(join(lunge, bodies.backward_roll())), len(lunge.t)


def unseen(track: Track, rows: slice) -> Track:
    lost = {name: getattr(track, name).copy() for name in ("xy", "z", "visibility", "disagreement", "presence")}
    for name, values in lost.items():
        values[rows] = 0.0 if name == "presence" else np.nan
    return replace(track, **lost)


def stays(track: Track, rows: slice, at: int, *, aside: float) -> Track:
    """Somebody who in some frames stands as she stood in one, that many trunks beside."""
    xy = track.xy.copy()
    xy[rows] = xy[at] + [aside * trunk_length(track), 0.0]
    return replace(track, xy=xy)


def exchanged(*, late: bool, lost: int = 0, aside: float = 0.0) -> tuple[Track, Track]:
    """(The clip's truth, what was followed): who was followed longest lacks the lunge (or, late, the roll); it went to one whose track
    then stays with a child who stands two trunks off. lost: frames in neither; aside: trunks by which they miss each other."""
    whole, cut = routine()
    missing = slice(cut, None) if late else slice(0, cut)
    rest = slice(0, cut - 3) if late else slice(cut + 3, None)
    mine = unseen(whole, missing)
    theirs = stays(whole, rest, cut, aside=2.0)
    if lost:
        theirs = unseen(theirs, slice(cut - lost, cut + lost))
    theirs = replace(theirs, xy=theirs.xy + np.array([aside * trunk_length(whole), 0.0]))
    return whole, replace(mine, others=(theirs,))


def test_the_routine_and_its_parts_are_what_they_should_be() -> None:
    whole, track = exchanged(late=False)
    assert [a.skill for a in find_attempts(whole)] == BOTH
    assert [a.skill for a in find_attempts(track)] == BOTH[1:]
    assert [a.skill for a in find_attempts(track.others[0])] == BOTH[:1]


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("lost", [0, 1])
def test_the_part_of_another_that_passes_into_hers_is_hers(late: bool, lost: int) -> None:
    whole, track = exchanged(late=late, lost=lost)
    back = rejoined(track)
    assert [a.skill for a in find_attempts(back)] == BOTH and back.others == ()
    same = np.isclose(back.xy, whole.xy).all(axis=(1, 2))
    assert same.sum() >= len(whole) - 8 and (same | ~back.seen).all(), "all is hers, or a gap where they met"
    assert (back.presence[same] == whole.presence[same]).all()


def test_it_is_no_longer_somebody_else_who_did_a_skill() -> None:
    _, track = exchanged(late=False)
    told = whose.athlete(replace(track, notes=(f"{OPEN_CHOICE} (88 %); which of them was filmed cannot be told.",)))
    assert [a.skill for a in find_attempts(told)] == BOTH and not open_choice(told.notes)


@pytest.mark.parametrize("late", [False, True])
def test_who_does_a_skill_elsewhere_stays_another(late: bool) -> None:
    _, track = exchanged(late=late, aside=1.0)
    assert rejoined(track) is track


def test_who_does_a_skill_while_she_is_seen_stays_another() -> None:
    whole, cut = routine()
    track = replace(whole, others=(stays(whole, slice(cut + 3, None), cut, aside=2.0),))
    assert rejoined(track) is track


def test_nobody_seen_is_joined_with_nobody() -> None:
    whole, _ = routine()
    track = replace(unseen(whole, slice(None)), others=(whole,))
    assert rejoined(track) is track
