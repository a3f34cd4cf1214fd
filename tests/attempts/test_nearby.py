"""Means over nearby moments equal the plain sums over all of them, and take no square of the clip's length in memory."""

import tracemalloc

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.attempts.nearby import ROWS, fading_mean, gaussian_sums


def clocks(n=700, seed=3):
    """A clip's uneven times and some of them, with values."""
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.01, 0.06, n))
    at = t[rng.uniform(size=n) < 0.3]
    return t, at, rng.normal(size=(len(at), 2))


def test_gaussian_sums_are_those_of_all_pairs():
    t, at, values = clocks()
    assert len(t) > 2 * ROWS
    for sd in (0.02, 0.6, 50.0):
        plain = np.exp(-0.5 * ((t[:, None] - at[None]) / sd) ** 2) @ values
        assert_allclose(gaussian_sums(t, at, values, sd), plain, atol=1e-9)


def test_the_fading_mean_is_that_of_all_pairs():
    t, at, values = clocks()
    weight = np.exp(-np.abs(t[:, None] - at[None]) / 0.8)
    assert_allclose(fading_mean(t, at, values[:, 0], 0.8), weight @ values[:, 0] / weight.sum(1), atol=1e-12)


@pytest.mark.parametrize("away", [10.0, 1_000.0, 100_000.0])
def test_the_only_value_counts_however_far_it_is(away):
    assert_allclose(fading_mean(np.array([0.0, away]), np.array([0.0]), np.array([7.0]), 0.8), [7.0, 7.0])


def test_memory_does_not_grow_with_the_square_of_the_length():
    t = np.arange(36_000) / 30.0  # twenty minutes: all pairs would take ten gigabytes
    values = np.ones((len(t), 1))
    tracemalloc.start()
    gaussian_sums(t, t, values, 0.6)
    fading_mean(t, t, values[:, 0], 0.8)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 20e6
