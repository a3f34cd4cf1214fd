"""Short gaps: a body on its way is taken where both looks see it; anybody else, or one look alone, leaves the gap."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from pipeline.landmarks.net import Guess
from pipeline.landmarks.short_gaps import LONGEST, look_between
from pipeline.landmarks.sides import LEGS
from pipeline.landmarks.track import N
from tests.landmarks.stickman import body, person_of

SIZE = 50.0


def turning() -> np.ndarray:
    """(20, 33, 2) a body that turns by six degrees a frame."""
    return np.array([body(200 + 2 * i, 200, SIZE, 6 * i) for i in range(20)])


def lost(rows: range) -> np.ndarray:
    xy = turning()
    xy[rows] = np.nan
    return xy


def seen(xy: np.ndarray) -> Guess:
    return Guess(xy.copy(), np.full(N, 7.0), np.ones(N), np.full(N, 0.8), 0.9, np.zeros(2), np.zeros(2))


def sees(*views: np.ndarray) -> Callable[[int, np.ndarray], list[Guess]]:
    return lambda row, _: [seen(v[row]) for v in views]


def test_a_short_gap_is_filled_with_the_mean_of_what_both_looks_see() -> None:
    one = person_of(lost(range(8, 11)))
    assert look_between(one, [], SIZE, sees(turning() + np.array([2.0, 0.0]), turning() - np.array([2.0, 0.0]))) == 3
    assert one.valid.all()
    assert_allclose(one.xy, turning(), atol=1e-9)
    assert_allclose(one.disagreement[9], 4.0)
    assert one.z[9, 0] == 7.0 and one.presence[9] == 0.9


def test_sides_named_the_other_way_round_are_turned_back() -> None:
    turned = turning()
    turned[:, LEGS[0], 0] += 20  # legs well apart
    true = turned.copy()
    turned[:, [*LEGS[0], *LEGS[1]]] = turned[:, [*LEGS[1], *LEGS[0]]]
    xy = true.copy()
    xy[8:10] = np.nan
    one = person_of(xy)
    assert look_between(one, [], SIZE, sees(true, turned)) == 2
    assert_allclose(one.xy, true, atol=1e-9)


@pytest.mark.parametrize("rows", [range(0, 3), range(17, 20), range(6, 7 + LONGEST)])
def test_gaps_at_an_end_and_long_ones_are_left(rows: range) -> None:
    one = person_of(lost(rows))
    assert look_between(one, [], SIZE, sees(turning(), turning())) == 0
    assert_array_equal(np.flatnonzero(~one.valid), rows)


def test_one_look_alone_or_two_that_differ_leave_the_gap() -> None:
    one = person_of(lost(range(8, 10)))
    assert look_between(one, [], SIZE, sees(turning())) == 0
    assert look_between(one, [], SIZE, sees(turning(), turning() + np.array([SIZE, 0.0]))) == 0
    assert not one.valid[8:10].any()


def test_a_body_that_somebody_else_is_on_is_not_taken() -> None:
    one = person_of(lost(range(8, 10)))
    assert look_between(one, [person_of(turning())], SIZE, sees(turning(), turning())) == 0
