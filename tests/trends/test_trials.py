"""Intervals and false alarms measured on simulated clubs, seeds fixed. The bands leave room for the trials' own chance error
(about 1.5 % at these sizes); `python -m pipeline.bench trends` prints the large table."""

import numpy as np
import pytest

from pipeline.bench.trend_trials import THREE, athlete_trial, cohort_trial, drop_trial, hips, level_trial, share_trial
from pipeline.trends.simulate import Plan

SMALL = {"Otters": 6}


@pytest.mark.parametrize(
    ("name", "plan", "clubs"),
    [
        ("a term", Plan(THREE, hips(steadiness=0.3)), 20),
        ("few sessions, few athletes", Plan(SMALL, hips(steadiness=0.3), weeks=5), 80),
        ("one attempt a session", Plan(THREE, hips(), extra_attempts=0.0, weeks=6), 25),
    ],
)
def test_intervals_of_slope_change_and_session_hold_the_truth_and_few_changes_are_false(name, plan, clubs):
    rates = athlete_trial(plan, clubs, np.random.default_rng(2))
    assert 0.93 <= rates["slope"][0] <= 0.97 and 0.93 <= rates["change"][0] <= 0.97, rates
    # A session's interval may hold a little too often: a session far off also makes its own series look unsteadier.
    assert 0.93 <= rates["session"][0] <= 0.98, rates
    assert rates["said"][0] <= 0.05, rates


def test_a_change_of_six_degrees_a_month_is_seen_and_never_the_wrong_way():
    rates = athlete_trial(Plan(THREE, hips(per_month=6.0)), 6, np.random.default_rng(3))
    assert rates["said"][0] > 0.9 and rates["right"][0] == 1.0


def test_the_drop_in_a_routine_is_held_by_its_interval():
    rates = drop_trial(Plan(THREE, hips(routine_drop=-4.0), routine_share=0.4), 40, np.random.default_rng(4))
    assert 0.93 <= rates["drop"][0] <= 0.97, rates


@pytest.mark.parametrize(
    ("sizes", "between", "own"),
    [((8, 8), (6.0, 6.0), 2.0), ((5, 9), (6.0, 6.0), 2.0), ((5, 9), (9.0, 4.0), 2.0), ((6, 8), (1.0, 1.0), 6.0)],
)
def test_differences_between_small_uneven_cohorts_are_held_by_their_intervals(sizes, between, own):
    rates = level_trial(sizes, 1500, np.random.default_rng(5), between=between, own=own)
    assert 0.93 <= rates["difference"][0] <= 0.97, rates
    if between[0] == between[1]:  # one common standard deviation is what the effect size is in
        assert 0.92 <= rates["effect"][0] <= 0.98, rates


def test_pages_that_compare_cohorts_are_seldom_wrong_from_readings_on():
    rates = cohort_trial(Plan({"Otters": 5, "Herons": 9, "Curlews": 6}, hips(), weeks=6), 60, np.random.default_rng(5))
    assert rates["page"][0] <= 0.05 and rates["difference"][0] >= 0.90, rates


def test_shares_met_hold():
    for alike in (2.0, 8.0):
        rates = share_trial(2000, 8, np.random.default_rng(6), share=0.5, alike=alike)
        assert 0.93 <= rates["share"][0] <= 0.97, rates
