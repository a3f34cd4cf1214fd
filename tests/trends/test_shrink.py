import numpy as np
from numpy.testing import assert_allclose
from scipy import stats

from pipeline.trends.shrink import Prior, common_variance


def test_variances_that_are_all_alike_are_pooled():
    rng = np.random.default_rng(1)
    variance = 9.0 * rng.chisquare(6, 300) / 6
    prior = common_variance(variance, np.full(300, 6.0))
    assert_allclose(prior.variance, 9.0, rtol=0.06)
    assert prior.df > 100


def test_the_prior_variances_were_drawn_from_is_found_again():
    # Smyth 2004: true variances are prior variance * d0 / chi-square(d0).
    rng = np.random.default_rng(2)
    true = 4.0 * 5.0 / rng.chisquare(5.0, 3000)
    variance = true * rng.chisquare(4, 3000) / 4
    prior = common_variance(variance, np.full(3000, 4.0))
    assert 3.5 < prior.df < 6.5
    assert_allclose(prior.variance, 4.0, rtol=0.1)


def test_moderated_t_keeps_its_level():
    # Smyth 2004, section 4: an estimate over its moderated standard error follows t on d0 + d.
    rng = np.random.default_rng(3)
    true = 4.0 * 5.0 / rng.chisquare(5.0, 4000)
    df = rng.integers(1, 5, 4000).astype(float)
    variance = true * rng.chisquare(df) / df
    moderated, total = common_variance(variance, df).moderated(variance, df)
    t = np.sqrt(true) * rng.standard_normal(4000) / np.sqrt(moderated)
    assert 0.94 < np.mean(np.abs(t) < stats.t.ppf(0.975, total)) < 0.965


def test_a_sample_without_degrees_of_freedom_gets_the_prior_and_two_samples_have_no_prior():
    moderated, df = Prior(3.0, 8.0, 50.0).moderated(np.array([np.nan, 9.0]), np.array([0.0, 8.0]))
    assert_allclose(moderated, [3.0, 6.0])
    assert_allclose(df, [8.0, 16.0])
    assert common_variance(np.array([1.0, 2.0]), np.array([5.0, 5.0])).df == 0.0


def test_zeros_among_the_variances_do_no_harm():
    prior = common_variance(np.array([0.0, 0.0, 1.0, 2.0, 0.5]), np.full(5, 1.5))
    assert np.isfinite(prior.variance) and prior.variance > 0


def test_nothing_to_learn_from_is_said_and_not_guessed():
    prior = common_variance(np.array([np.nan]), np.array([0.0]))
    assert np.isnan(prior.variance) and prior.df == 0.0
    moderated, df = prior.moderated(np.array([np.nan]), np.array([0.0]))
    assert np.isnan(moderated[0]) and df[0] == 0.0
