import numpy as np
import pandas as pd

from pipeline.trends.cohorts import compare, without_names
from tests.trends.making import readings, sessions_of


def club(sizes, levels, seed=5, **spread):
    rng = np.random.default_rng(seed)
    return pd.concat([
        sessions_of(level + rng.normal(0, 4), rng=rng, athlete=f"{name[:2].upper()}-{k:02d}", cohort=name, **spread)
        for name, count, level in zip(("Otters", "Herons"), sizes, levels, strict=True) for k in range(count)
    ])  # fmt: skip


def test_cohorts_far_apart_are_said_to_differ_by_what_they_differ():
    result = compare(club((7, 7), (165.0, 145.0)))
    (row,) = result.differences.itertuples()
    assert row.sure and row.low < -20 < row.high and (row.cohort, row.other) == ("Herons", "Otters")
    assert row.effect_low < row.effect < row.effect_high < 0


def test_below_five_athletes_there_are_dots_and_no_comparison():
    result = compare(club((7, 4), (165.0, 145.0)))
    assert result.differences.empty and len(result.dots) == 11
    herons = result.means.set_index("cohort").loc["Herons"]
    assert not herons["enough"] and np.isnan(herons["low"]) and np.isnan(herons["change"])


def test_an_athlete_who_moved_counts_where_she_was_at_the_time():
    rows = club((5, 5), (165.0, 145.0))
    mover = pd.concat([readings([0, 7], [150.0, 150.0], athlete="MV"), readings([14, 21, 28], [170.0] * 3, athlete="MV", cohort="Herons")])
    dots = compare(pd.concat([rows, mover])).dots
    moved = dots[dots["athlete"] == "MV"].set_index("cohort")
    assert dict(moved["level"]) == {"Herons": 170.0, "Otters": 150.0} and dict(moved["sessions"]) == {"Herons": 3, "Otters": 2}


def test_a_child_filmed_forty_times_weighs_no_more_than_her_level_is_surer():
    rng = np.random.default_rng(6)
    rows = club((6, 6), (150.0, 150.0))
    often = sessions_of(190.0, rng=rng, athlete="OFTEN", attempts=40)
    means = compare(pd.concat([rows, often])).means.set_index("cohort")
    by_attempts = pd.concat([rows, often]).groupby("cohort")["value"].mean()
    assert means.loc["Otters", "mean"] < 160 < by_attempts["Otters"]


def test_no_athlete_can_be_found_in_what_a_cohort_page_draws():
    dots = without_names(compare(club((6, 6), (165.0, 150.0))).dots)
    assert "athlete" not in dots.columns
    for _, one in dots.groupby("cohort"):
        assert one["level"].is_monotonic_increasing


def test_an_athlete_with_one_session_has_a_dot_with_an_interval_and_no_change():
    rows = pd.concat([club((5, 5), (165.0, 145.0)), readings([0], [150.0], athlete="ONE")])
    one = compare(rows).dots.set_index("athlete").loc["ONE"]
    assert one["low"] < 150.0 < one["high"] and np.isnan(one["change"])


def test_nothing_to_compare_gives_empty_tables():
    result = compare(readings([0], [np.nan]))
    assert result.dots.empty and result.means.empty and result.differences.empty
