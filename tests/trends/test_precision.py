import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from pipeline.trends.precision import learn, learn_kind
from pipeline.trends.sessions import sessions
from tests.trends.intraclass import reliability
from tests.trends.making import readings, sessions_of

KEY = ("shoulder_stand", "hip_angle", "alone")


def club(athletes, **spread):
    rng = np.random.default_rng(7)
    return pd.concat([sessions_of(150 + k, rng=rng, athlete=f"OT-{k:02d}", **spread) for k in range(athletes)])


def test_scatter_within_and_between_days_are_found_apart():
    kind = learn(sessions(club(200, between=2.0, within=3.0, own=0.5))).kinds[KEY]
    assert_allclose(kind.within, 9.0, rtol=0.1)
    assert_allclose(kind.between, 4.0, rtol=0.2)
    assert_allclose(kind.sem, np.sqrt(13.0), rtol=0.05)


def test_a_steady_trend_is_not_taken_for_chance():
    flat, rising = (learn(sessions(club(30, per_week=p))).kinds[KEY].between for p in (0.0, 4.0))
    assert_allclose(flat, rising, rtol=1e-6)


def test_within_is_the_sem_of_a_one_way_table():
    # Weir 2005's data A read as two attempts in one session of each of eight athletes (from memory, see test_reliability).
    trials = np.array([[146, 140], [148, 152], [170, 152], [90, 99], [157, 145], [156, 153], [176, 167], [205, 218]], float)
    table = pd.concat([readings([0, 0], pair, athlete=f"A-{k}") for k, pair in enumerate(trials)])
    between = 2 * trials.mean(axis=1).var(ddof=1)
    icc = reliability(trials).icc_1_1
    assert_allclose(learn_kind(sessions(table)).within, between * (1 - icc) / (1 + icc))  # ICC(1,1) solved for MS within


def test_own_error_is_not_counted_twice():
    # Scatter of 5 already holds an own error of 2: the SEM stays 5, not sqrt(25 + 4).
    kind = learn(sessions(club(200, between=3.0, within=4.0, own=2.0))).kinds[KEY]
    assert_allclose(kind.sem, 5.0, rtol=0.05)


def test_own_error_that_the_scatter_cannot_show_is_added_to_what_a_day_shares():
    table = sessions(club(20, between=0.1, within=0.5, own=4.0))
    judged = learn(table).judge(table)
    assert_allclose(judged["sem"], 4.0, rtol=0.01)
    # Three attempts of a day share most of it, so their median is hardly surer than one attempt.
    assert_allclose(np.sqrt(judged["variance"]), 4.0, rtol=0.05)


def test_more_attempts_make_a_session_surer_by_what_the_median_gains():
    rng = np.random.default_rng(8)
    table = sessions(
        pd.concat(
            [club(40, between=0.0, within=3.0, attempts=2), sessions_of(150, rng=rng, athlete="B", between=0.0, within=3.0, attempts=8)]
        )
    )
    kind = learn(table).kinds[KEY]
    variance = kind.variance(np.array([1, 2, 8]), np.ones(3), np.zeros(3)) - kind.between
    assert_allclose(variance / variance[0], [1.0, 0.5, 0.1682], rtol=0.01)


def test_an_unsteady_athlete_is_known_to_be_one():
    rng = np.random.default_rng(9)
    wild = sessions_of(150, rng=rng, athlete="WILD", between=6.0, within=6.0, weeks=20)
    table = sessions(pd.concat([club(30), wild]))
    judged = learn(table).judge(table).groupby("athlete", observed=True)["variance"].mean()
    assert judged["WILD"] > 3 * judged.drop("WILD").mean()


def test_neighbours_far_apart_judge_nobody():
    far = learn_kind(sessions(readings([0, 60, 120, 180], [100.0, 150.0, 90.0, 160.0])))
    assert far.between == 0.0 and far.scale.df == 0.0


@pytest.mark.parametrize("values", [[np.nan, np.nan], []])
def test_nothing_measured_gives_no_sessions_and_no_precision(values):
    table = sessions(readings(np.arange(len(values)), values) if values else readings([0], [np.nan]))
    assert table.empty and not learn(table).kinds
