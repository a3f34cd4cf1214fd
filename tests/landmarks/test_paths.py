"""One body is measured as many are, to the last bit: what is asked for often has a shorter way."""

import numpy as np
import pytest

from pipeline.landmarks.paths import apart, limbs_apart, torso
from tests.landmarks.stickman import body


@pytest.fixture
def bodies() -> np.ndarray:
    rng = np.random.default_rng(2)
    return np.array([body(200 + 3 * i, 150, 40 + i, 7 * i) for i in range(40)]) + rng.normal(0, 4, (40, 33, 2))


def test_a_torso_of_known_length():
    assert torso(body(200, 150, 40)) == pytest.approx(40)
    gone = np.full((33, 2), np.nan)
    assert np.isnan(torso(gone))


def test_one_torso_is_what_it_is_among_many(bodies):
    assert [torso(one) for one in bodies] == torso(bodies).tolist()


def test_two_bodies_are_as_far_apart_as_among_many(bodies):
    a, b = bodies, np.roll(bodies, 3, axis=0)
    assert [limbs_apart(p, q, 37.0) for p, q in zip(a, b, strict=True)] == limbs_apart(a, b, 37.0).tolist()
    assert limbs_apart(a[0], a[0] + (30, 40), 25.0) == pytest.approx(2.0)  # 3, 4, 5
    assert apart(a[0], a[0] + (30, 40), 25.0) <= 2.0
    assert np.isnan(limbs_apart(a[0], np.full((33, 2), np.nan), 25.0))
