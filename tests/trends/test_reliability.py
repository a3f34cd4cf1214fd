import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.trends.reliability import minimal_detectable_change
from tests.trends.intraclass import reliability

# Shrout & Fleiss 1979, Psychological Bulletin 86:420, table 2: six targets rated by four judges.
SHROUT_FLEISS = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])
# Weir 2005, J Strength Cond Res 19:231, tables 1 and 2: eight subjects, two trials (data from memory; both sets have the
# same error, which is what the paper shows: the SEM stays where the correlation moves).
WEIR_A = np.array([[146, 140], [148, 152], [170, 152], [90, 99], [157, 145], [156, 153], [176, 167], [205, 218]])
WEIR_B = np.array([[166, 160], [168, 172], [160, 142], [150, 159], [147, 135], [146, 143], [156, 147], [155, 168]])


def test_intraclass_correlations_are_those_of_shrout_and_fleiss_table_4():
    r = reliability(SHROUT_FLEISS)
    assert_allclose([r.icc_1_1, r.icc_2_1, r.icc_3_1], [0.17, 0.29, 0.71], atol=0.006)
    assert_allclose([r.icc_1_k, r.icc_2_k, r.icc_3_k], [0.44, 0.62, 0.91], atol=0.006)
    assert_allclose(r.sem**2, 1.02, atol=0.005)  # their EMS


def test_sem_and_minimal_difference_are_those_weir_works_out():
    a, b = reliability(WEIR_A), reliability(WEIR_B)
    assert_allclose(a.icc_2_1, 0.95, atol=0.005)
    assert_allclose([a.sem, b.sem], 7.6, atol=0.05)  # sqrt(57)
    assert_allclose([a.mdc, b.mdc], 21.0, atol=0.1)  # 7.6 * 1.96 * sqrt(2)
    assert b.icc_2_1 < 0.6 < a.icc_2_1


def test_minimal_detectable_change_grows_where_the_sem_is_known_from_little():
    assert_allclose(minimal_detectable_change(1.0), 2.7718, atol=1e-4)
    assert minimal_detectable_change(1.0, quantile=4.303) > 2 * minimal_detectable_change(1.0)  # t with 2 degrees of freedom


@pytest.mark.parametrize("table", [np.ones((1, 4)), np.ones((4, 1)), np.array([[1.0, np.nan], [2.0, 3.0]])])
def test_a_table_that_cannot_tell_is_refused(table):
    with pytest.raises(ValueError, match="at least 2 subjects by 2 trials"):
        reliability(table)
