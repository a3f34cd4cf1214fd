"""Legs borrowed from a neighbour: given back where both looks see them beside the other leg, and left alone otherwise."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal

from pipeline.landmarks.borrowed import borrowed, settle
from pipeline.landmarks.net import Guess
from pipeline.landmarks.sides import LEGS
from pipeline.landmarks.track import N
from tests.landmarks.stickman import body, person_of

SIZE, FRAMES = 50.0, 12
OWN = np.array([body(200, 200, SIZE)] * FRAMES)
BEHIND = np.array([body(240, 180, SIZE)] * FRAMES)


def with_a_leg_of(neighbour: np.ndarray, rows: range) -> np.ndarray:
    """The athlete with the left leg on the neighbour's left one in some frames."""
    xy = OWN.copy()
    xy[np.ix_(rows, LEGS[0, 1:])] = neighbour[np.ix_(rows, LEGS[0, 1:])]
    return xy


def seen(xy: np.ndarray, peak: float = 0.8) -> Guess:
    return Guess(xy.copy(), np.full(N, 7.0), np.ones(N), np.full(N, peak), 1.0, np.zeros(2), np.zeros(2))


def sees(*looks: Callable[[int], Guess]) -> Callable[[int, np.ndarray], list[Guess]]:
    return lambda row, _: [look(row) for look in looks]


def truth(row: int) -> Guess:
    return seen(OWN[row])


def test_a_leg_on_a_neighbours_is_told_and_which_one() -> None:
    side = borrowed(with_a_leg_of(BEHIND, range(3, 6)), [BEHIND], SIZE)
    assert_array_equal(side, [-1] * 3 + [0] * 3 + [-1] * 6)
    assert (borrowed(BEHIND, [BEHIND], SIZE) == -1).all()  # both legs: that is the whole body, and no leg borrowed
    assert (borrowed(OWN, [], SIZE) == -1).all()
    assert (borrowed(OWN, [np.full_like(OWN, np.nan)], SIZE) == -1).all()


def test_a_borrowed_leg_is_put_where_both_looks_see_it() -> None:
    person, other = person_of(with_a_leg_of(BEHIND, range(0, 8))), person_of(BEHIND)
    kept: list[np.ndarray] = []

    def look(row: int, own: np.ndarray) -> list[Guess]:
        kept.append(own)
        return [seen(OWN[row] + [2.0, 0.0]), seen(OWN[row])]

    assert settle(person, [other], SIZE, look) == 8
    assert_allclose(person.xy[:8, LEGS[0, 1:]], OWN[:8, LEGS[0, 1:]] + [1.0, 0.0])
    assert_allclose(person.xy[8:], OWN[8:])
    assert_allclose(person.disagreement[:8, LEGS[0, 1:]], 2.0)
    assert_allclose(person.z[:8, LEGS[0, 1:]], 7.0)
    assert_allclose(np.delete(person.xy[:8], LEGS[0, 1:], axis=1), np.delete(OWN[:8], LEGS[0, 1:], axis=1))  # nothing else
    assert_allclose(kept[0][LEGS[0, 1:]], OWN[0, LEGS[1, 1:]])  # the neighbour's leg was not kept for her own


def test_what_the_looks_do_not_free_stays_as_it_was() -> None:
    spoilt = with_a_leg_of(BEHIND, range(0, 8))
    far = OWN.copy()
    far[:, LEGS[0, 1:]] -= [2 * SIZE, 0.0]
    for looks in (
        (lambda r: seen(spoilt[r]),) * 2,  # still on the neighbour's
        (truth,),  # one look alone
        (truth, lambda r: seen(spoilt[r])),  # the two do not agree
        (lambda r: seen(OWN[r], peak=0.2),) * 2,  # nothing clear
        (lambda r: seen(far[r]),) * 2,  # away from the other leg
        (lambda r: seen(OWN[r] + [SIZE, 0.0]),) * 2,  # another body
    ):
        person = person_of(spoilt)
        assert settle(person, [person_of(BEHIND)], SIZE, sees(*looks)) == 0
        assert_array_equal(person.xy, spoilt)


def test_single_frames_of_many_that_come_free_are_chance() -> None:
    spoilt = with_a_leg_of(BEHIND, range(0, 8))
    person = person_of(spoilt)
    one = sees(*(lambda r: truth(r) if r in (2, 5) else seen(spoilt[r]),) * 2)
    assert settle(person, [person_of(BEHIND)], SIZE, one) == 0
    assert_array_equal(person.xy, spoilt)
    most = sees(*(lambda r: truth(r) if r != 4 else seen(spoilt[r]),) * 2)
    assert settle(person, [person_of(BEHIND)], SIZE, most) == 7


def test_no_look_is_taken_of_which_nothing_can_come() -> None:
    """Eight frames, of which more than four must come free: four that do not end it, and no second look follows a first that does not."""
    spoilt = with_a_leg_of(BEHIND, range(0, 8))
    asked: list[tuple[int, int]] = []

    def look(row: int, own: np.ndarray) -> Iterator[Guess]:
        for number in (0, 1):
            asked.append((row, number))
            yield seen(OWN[row] if row in (0, 2) else spoilt[row])

    assert settle(person_of(spoilt), [person_of(BEHIND)], SIZE, look) == 0
    assert asked == [(0, 0), (0, 1), (1, 0), (2, 0), (2, 1), (3, 0), (4, 0), (5, 0)]
