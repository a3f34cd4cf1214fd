import numpy as np
import pandas as pd
from numpy.testing import assert_allclose
from scipy import stats

from pipeline.trends.sessions import sessions
from pipeline.trends.setting_drop import learn_drop_scatter, pair_settings, setting_drop
from tests.trends.making import readings


def test_each_session_is_paired_once_with_the_nearest_of_the_other_setting():
    rows = pd.concat([readings([0, 7, 14], [160.0, 162.0, 164.0]), readings([1, 14, 60], [155.0, 156.0, 100.0], setting="routine")])
    pairs = pair_settings(sessions(rows))
    assert sorted(pairs["drop"]) == [-8.0, -5.0]  # the session at day 60 has nothing within a fortnight


def test_interval_of_one_childs_pairs_is_students():
    drops = np.array([-4.0, -6.0, -1.0, -5.0, -3.0])
    found = setting_drop(drops)
    low, high = stats.ttest_1samp(drops, 0.0).confidence_interval(0.95)
    assert_allclose([found.drop, found.low, found.high], [-3.8, low, high])


def test_two_pairs_are_too_few_for_an_interval_and_none_says_nothing():
    assert np.isnan(setting_drop(np.array([-4.0, -6.0])).low)
    assert setting_drop(np.array([])).pairs == 0 and np.isnan(setting_drop(np.array([])).drop)


def test_the_club_helps_where_a_child_has_few_pairs():
    rng = np.random.default_rng(3)
    rows = []
    for k in range(10):
        rows.append(readings(np.arange(8) * 7, 160 + rng.normal(0, 2, 8), athlete=f"A{k}"))
        rows.append(readings(np.arange(8) * 7, 155 + rng.normal(0, 2, 8), athlete=f"A{k}", setting="routine"))
    prior = learn_drop_scatter(pair_settings(sessions(pd.concat(rows))))[("shoulder_stand", "hip_angle")]
    few = np.array([-4.0, -6.0, -5.5])
    with_club, alone = setting_drop(few, prior), setting_drop(few)
    assert prior.df > 1 and with_club.high < 0 and with_club.pairs == alone.pairs == 3
    # Own pairs lie luckily close together; the club knows that drops scatter more, and both agree on the mean.
    assert_allclose(with_club.drop, alone.drop)
    assert with_club.high - with_club.low > alone.high - alone.low
