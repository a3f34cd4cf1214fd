import numpy as np
import pandas as pd
from numpy.testing import assert_allclose
from statsmodels.stats.proportion import proportion_confint

from pipeline.scoring.tolerances import load_tolerances
from pipeline.trends.next_term import next_term
from pipeline.trends.shares import athletes_share, cannot_tell_tables, count_verdicts, share_table, with_verdicts
from pipeline.vocabulary import Verdict
from tests.trends.making import readings


def test_each_athlete_counts_once_however_often_filmed():
    assert_allclose(athletes_share(np.array([40, 0, 1]), np.array([40, 2, 2])).share, 0.5)


def test_many_athletes_with_one_try_each_have_wilsons_interval():
    hits = np.repeat([1, 0], [60, 140])
    found = athletes_share(hits, np.ones(200, int))
    assert_allclose([found.low, found.high], proportion_confint(60, 200, method="wilson"), atol=0.002)


def test_all_or_nothing_is_not_taken_for_certain():
    found = athletes_share(np.array([9, 8, 7]), np.array([9, 8, 7]))
    assert found.share == 1.0 and found.high == 1.0 and found.low < 0.4  # three athletes, not twenty-four tries


def test_one_athlete_has_no_interval_and_none_no_share():
    assert np.isnan(athletes_share(np.array([3]), np.array([4])).low)
    assert np.isnan(athletes_share(np.array([0]), np.array([0])).share)


def scored():
    good = [readings(np.arange(4) * 7, [176.0] * 4, athlete=f"A{k}") for k in range(6)]
    poor = [readings(np.arange(4) * 7, [120.0] * 4, athlete=f"A{k}", skill="cartwheel", detail="knee_angle", side="left") for k in range(6)]
    dark = [readings(np.arange(4) * 7, [np.nan] * 4, athlete=f"A{k}", detail="toe_point") for k in range(6)]
    return with_verdicts(pd.concat([*good, *poor, *dark]), load_tolerances())


def counted():
    return count_verdicts(scored(), ["cohort", "skill", "detail"])


def test_next_term_is_what_is_least_met_and_what_cannot_be_told_is_filmed_better_first():
    (answer,) = next_term(counted())
    assert answer.first == ("cartwheel", "knee_angle") and answer.share_met == 0.0
    assert answer.film_better == (("shoulder_stand", "toe_point"),) and answer.or_else == ()


def test_too_few_athletes_are_given_no_advice():
    (answer,) = next_term(counted(), enough=7)
    assert answer.first is None and "Too few" in answer.why


def test_share_met_passes_over_what_cannot_be_told_and_that_share_is_shown():
    met = share_table(counted(), ["cohort", "detail"], Verdict.MET).set_index("detail")
    assert met.loc["hip_angle", "share"] == 1.0 and "toe_point" not in met.index
    tables = cannot_tell_tables(scored())
    assert_allclose(tables["cohort"]["share"], 1 / 3)
    assert set(zip(tables["skill"]["skill"], tables["skill"]["view"], strict=True)) == {("cartwheel", "front"), ("shoulder_stand", "side")}
    assert list(tables["month"]["month"]) == ["2026-03"]
