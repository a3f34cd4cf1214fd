import numpy as np
from numpy.testing import assert_allclose
from scipy import stats

from pipeline.trends.student import noncentral_t_cdf, t_quantile, two_sided_p


def test_they_are_scipys_distributions():
    assert_allclose(t_quantile(3.7), stats.t.ppf(0.975, 3.7))
    assert_allclose(two_sided_p(-2.2, 9.5), 2 * stats.t.sf(2.2, 9.5))
    assert_allclose(noncentral_t_cdf(2.5, 18, 1.1), stats.nct.cdf(2.5, 18, 1.1))


def test_a_printed_table():
    # Student's t, two-sided 5 %: 1, 2, 10 and 30 degrees of freedom, as in any handbook.
    assert_allclose([t_quantile(df) for df in (1, 2, 10, 30)], [12.706, 4.303, 2.228, 2.042], atol=6e-4)


def test_no_degrees_of_freedom_no_quantile():
    assert np.isnan(t_quantile(0.0)) and np.isnan(noncentral_t_cdf(np.nan, 5, 0))
