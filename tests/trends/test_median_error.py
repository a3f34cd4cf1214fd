import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import integrate, special, stats

from pipeline.trends.median_error import TABLE, median_factor


@pytest.mark.parametrize("n", [3, 5, 9, 15, 29])
def test_odd_table_is_the_variance_of_the_middle_order_statistic(n):
    k = n // 2
    scale = np.exp(special.gammaln(n + 1) - 2 * special.gammaln(k + 1))

    def weighed(x):
        return x * x * scale * (stats.norm.cdf(x) * stats.norm.sf(x)) ** k * stats.norm.pdf(x)

    assert_allclose(median_factor(n)[0], integrate.quad(weighed, -9, 9)[0], atol=6e-6)


@pytest.mark.parametrize("n", [2, 4, 6, 10])
def test_even_table_is_the_variance_of_the_mean_of_the_two_middle_ones(n):
    medians = np.median(np.random.default_rng(n).standard_normal((400_000, n)), axis=1)
    assert_allclose(median_factor(n)[0], medians.var(), rtol=0.01)


def test_published_values():
    # Sarhan & Greenberg 1956, Ann Math Stat 27:427, tables of order statistics (from memory): n = 3, 4 and 5.
    assert_allclose(median_factor([3, 4, 5]), [0.4487, 0.2982, 0.2868], atol=5e-5)


def test_beyond_the_table_it_goes_on_smoothly_towards_half_pi_over_n():
    n = np.array([len(TABLE), len(TABLE) + 1, 200])
    factor = median_factor(n)
    assert factor[0] > factor[1] > factor[2]
    assert_allclose(factor[2], np.pi / 400, rtol=0.01)
