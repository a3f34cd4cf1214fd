import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from pipeline.trends.slope import MONTH, slope, theil_sen

# Sen 1968, J Am Stat Assoc 63:1379, the worked example, also in scipy's own tests of theilslopes: slope 4.
SEN_X, SEN_Y = np.array([1.0, 2, 3, 4, 10, 12, 18]), np.array([9.0, 15, 19, 20, 45, 55, 78])


def test_sens_own_example():
    assert theil_sen(SEN_X, SEN_Y) == 4.0
    line = slope(SEN_X, SEN_Y, np.full(7, 1.0), 30.0)
    assert_allclose(line.per_month, 4.0 * MONTH)
    intercept = stats.theilslopes(SEN_Y, SEN_X, method="joint").intercept
    assert_allclose(line.middle, intercept + 4.0 * line.at)


def test_slope_is_the_median_of_all_pairs_as_scipy_gives_it():
    rng = np.random.default_rng(4)
    day, y = np.cumsum(rng.integers(1, 15, 20)).astype(float), rng.normal(0, 3, 20)
    assert_allclose(slope(day, y, np.full(20, 9.0), 10.0).per_month, MONTH * stats.theilslopes(y, day)[0])


@settings(max_examples=30, deadline=None)
@given(added=st.floats(-3, 3), scale=st.floats(0.1, 10))
def test_adding_a_line_adds_its_slope_and_leaves_the_width(added, scale):
    y = SEN_Y * scale
    before, after = slope(SEN_X, y, np.full(7, 2.0), 8.0), slope(SEN_X, y + added * SEN_X, np.full(7, 2.0), 8.0)
    assert_allclose(after.per_month - before.per_month, added * MONTH, atol=1e-8)
    assert_allclose(after.high - after.low, before.high - before.low, rtol=1e-9)


def test_one_wild_session_hardly_moves_it():
    day = np.arange(0.0, 84, 7)
    y = 150 + 0.1 * day
    y[5] = 90.0
    assert_allclose(slope(day, y, np.full(12, 4.0), 20.0).per_month, 0.1 * MONTH, rtol=0.15)


def test_few_sessions_give_no_interval_and_one_day_no_slope():
    two = slope(np.array([0.0, 7.0]), np.array([1.0, 2.0]), np.ones(2), 10.0)
    assert np.isfinite(two.per_month) and np.isnan(two.low)
    assert np.isnan(slope(np.array([3.0]), np.array([1.0]), np.ones(1), 10.0).per_month)
    assert not slope(np.array([0.0, 7.0, 14.0]), np.array([1.0, 2.0, 3.0]), np.full(3, np.nan), 0.0).points(1.0)


def test_long_series_agree_with_short_ones_in_width():
    # Above 60 sessions the large-sample standard error takes over; both must meet there.
    rng = np.random.default_rng(5)
    day = np.arange(61.0) * 7
    widths = [s.high - s.low for s in (slope(day[:n], rng.normal(size=n), np.ones(n), 100.0) for n in (60, 61))]
    assert_allclose(widths[1] / widths[0], (60 / 61) ** 1.5, rtol=0.08)


@pytest.mark.parametrize("n", [5, 70])
def test_counts_that_are_sure_each_time_have_a_trend_without_doubt(n):
    none, last = (slope(np.arange(n) * 7.0, y, np.zeros(n), 10.0) for y in (np.zeros(n), np.r_[np.zeros(n - 1), 1.0]))
    for one in (none, last):
        assert one.per_month == 0 and one.high - one.low < 1e-5
