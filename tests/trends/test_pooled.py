import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects, effectsize_smd
from statsmodels.stats.multitest import multipletests

from pipeline.trends.pooled import difference, group_mean, hedges_g, holm

# Davies & Goldsmith 1972, Statistical Methods in Research and Production, table 6.3: yield of dyestuff, five samples of six
# batches. lme4's documentation (data set Dyestuff) gives REML variances 1764.05 and 2451.25, mean 1527.5, SE 19.38.
DYESTUFF = np.array([
    [1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445],
], float)  # fmt: skip


def test_the_mixed_model_of_the_dyestuff_batches():
    within = DYESTUFF.var(axis=1, ddof=1).mean()
    fit = group_mean(DYESTUFF.mean(axis=1), np.full(6, within / 5))
    assert_allclose(within, 2451.25)
    assert_allclose([fit.between, fit.mean, fit.se], [1764.05, 1527.5, 19.38], rtol=3e-4)
    low, high = fit.interval  # t with 5 degrees of freedom
    assert_allclose([low, high], [1527.5 - 2.5706 * 19.3834, 1527.5 + 2.5706 * 19.3834], rtol=1e-4)


def test_statsmodels_mixed_model_by_attempts_says_the_same():
    rows = pd.DataFrame({"y": DYESTUFF.ravel(), "batch": np.repeat(np.arange(6), 5)})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = smf.mixedlm("y ~ 1", rows, groups=rows["batch"]).fit(reml=True)
    own = group_mean(DYESTUFF.mean(axis=1), np.full(6, 2451.25 / 5))
    assert_allclose([own.mean, own.se, own.between], [fit.params["Intercept"], fit.bse["Intercept"], fit.cov_re.iloc[0, 0]], rtol=2e-3)


def test_uneven_errors_agree_with_statsmodels_paule_mandel_and_hartung_knapp():
    y, v = np.array([0.1, 0.9, 1.4, 0.3, 2.0, 0.8]), np.array([0.1, 0.4, 0.2, 0.05, 0.6, 0.3])
    theirs = combine_effects(y, v, method_re="iterated", use_t=True)
    ours = group_mean(y, v)
    assert_allclose(ours.mean, theirs.mean_effect_re, rtol=1e-5)
    assert_allclose(ours.between, theirs.tau2, rtol=1e-4)
    assert_allclose(ours.se, theirs.sd_eff_w_re_hksj, rtol=1e-5)


def test_equal_errors_make_welchs_test():
    rng = np.random.default_rng(1)
    a, b = rng.normal(0, 1, 7), rng.normal(1, 3, 9)
    value, _, df, p = difference(group_mean(a, np.full(7, 1e-9)), group_mean(b, np.full(9, 1e-9)))
    welch = stats.ttest_ind(a, b, equal_var=False)
    assert_allclose([value, df, p], [a.mean() - b.mean(), welch.df, welch.pvalue], rtol=1e-5)


def test_effect_size_is_statsmodels_hedges_g_and_its_interval_holds_it():
    rng = np.random.default_rng(2)
    a, b = rng.normal(1.5, 1, 8), rng.normal(0, 1, 6)
    theirs, _ = effectsize_smd(a.mean(), a.std(ddof=1), 8, b.mean(), b.std(ddof=1), 6)
    g, low, high = hedges_g(a, b)
    assert_allclose(g, theirs, rtol=0.005)  # they take the small-sample factor from its approximation too
    assert low < g < high


def test_noncentral_t_interval_of_a_published_example():
    # Cumming & Finch 2001, Educ Psychol Meas 61:532: t = 2.5, 10 a group gives d = 1.118 with 95 % interval 0.155 to 2.05
    # (interval recomputed here from its definition, t is in the tail of the noncentral t at both ends).
    a = np.linspace(-1, 1, 10)
    a = a / a.std(ddof=1)
    g, low, high = hedges_g(a + 2.5 * np.sqrt(0.2), a)
    small = 1 - 3 / (4 * 18 - 1)
    assert_allclose(g / small, 1.118, atol=1e-3)
    t_low, t_high = low / small / np.sqrt(0.2), high / small / np.sqrt(0.2)
    assert_allclose([stats.nct.sf(2.5, 18, t_low), stats.nct.cdf(2.5, 18, t_high)], 0.025, atol=1e-4)


@pytest.mark.parametrize("apart", [0.0, 50.0, 500.0])
def test_effect_sizes_of_any_size_come_back(apart):
    g, low, high = hedges_g(np.arange(6.0) + apart, np.arange(7.0))
    assert low < g < high


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=20))
def test_holm_is_statsmodels_holm(p):
    assert_allclose(holm(np.array(p)), multipletests(p, method="holm")[1])


def test_holm_passes_over_what_was_not_tested():
    assert_allclose(holm(np.array([0.01, np.nan, 0.04])), [0.02, np.nan, 0.04])


def test_too_few_athletes_have_no_interval():
    one = group_mean(np.array([3.0]), np.array([1.0]))
    assert one.mean == 3.0 and np.isnan(one.interval[0])
    assert np.isnan(difference(one, one)[3]) and group_mean(np.array([]), np.array([])).n == 0
    assert np.isnan(hedges_g(np.array([1.0]), np.array([2.0, 3.0]))[0])
