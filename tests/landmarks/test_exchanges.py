"""Two who took each other's way: told by what they wore before and after, and left alone where that does not tell."""

import numpy as np
from numpy.testing import assert_array_equal

from pipeline.landmarks.exchanges import exchange, fits_straight
from tests.landmarks.stickman import body, person_of, wearing

SIZE, N_FRAMES, MEET = 50.0, 60, 30
RED, GREEN = (45.0, 60.0, 40.0), (45.0, -50.0, 40.0)


def meeting():
    """Two who come close, smoothly, and go back."""
    gap = 30 + 5 * np.abs(np.arange(N_FRAMES) - MEET)
    return np.array([body(200, 200, SIZE)] * N_FRAMES), np.array([body(200 + g, 200, SIZE) for g in gap])


def crossed(a, b):
    return np.concatenate([a[:MEET], b[MEET:]]), np.concatenate([b[:MEET], a[MEET:]])


def test_who_took_each_others_way_get_their_own_back():
    a, b = meeting()
    (xy_a, xy_b), (worn_a, worn_b) = crossed(a, b), crossed(wearing(RED, N_FRAMES, 1), wearing(GREEN, N_FRAMES, 2))
    one, other = person_of(xy_a, worn_a), person_of(xy_b, worn_b)
    assert fits_straight(one, other, MEET) < -2
    assert exchange([one, other])
    assert_array_equal(one.xy, a)
    assert_array_equal(other.xy, b)
    assert one.clothes[:, 0, 1].min() > 30 and other.clothes[:, 0, 1].max() < -30


def test_nobody_is_exchanged_who_stayed_wears_the_same_or_was_never_close():
    a, b = meeting()
    red, green = wearing(RED, N_FRAMES, 1), wearing(GREEN, N_FRAMES, 2)
    for one, other in (
        (person_of(a, red), person_of(b, green)),  # each on its own
        (person_of(crossed(a, b)[0], red), person_of(crossed(a, b)[1], wearing(RED, N_FRAMES, 2))),  # the same clothes
        (person_of(a, crossed(red, green)[0]), person_of(np.add(b, [500, 0]), crossed(red, green)[1])),  # never close
        (person_of(a), person_of(b)),  # no colours
    ):
        before = one.xy.copy(), other.xy.copy()
        assert not exchange([one, other])
        assert_array_equal(one.xy, before[0])
        assert_array_equal(other.xy, before[1])
    assert not exchange([]) and not exchange([person_of(a, red)])
