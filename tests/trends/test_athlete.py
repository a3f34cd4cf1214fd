import numpy as np
import pandas as pd
from numpy.testing import assert_allclose
from scipy import stats

from pipeline.trends.athlete import athlete_trends
from pipeline.trends.precision import learn
from pipeline.trends.sessions import sessions
from tests.trends.making import readings, sessions_of


def club_and(own: pd.DataFrame):
    rng = np.random.default_rng(11)
    others = [sessions_of(150 + k, rng=rng, athlete=f"HE-{k:02d}") for k in range(15)]
    return learn(sessions(pd.concat([own, *others])))


def test_the_change_is_the_latest_fortnight_less_the_first():
    own = readings([0, 7, 14, 21, 28, 35, 42], [150.0, 152.0, 155.0, 158.0, 161.0, 166.0, 168.0])
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    c = trend.change
    assert (c.start, c.now, c.change) == (151.0, 167.0, 16.0)
    assert (c.start_sessions, c.now_sessions, c.start_date, c.now_date) == (2, 2, "2026-03-02", "2026-04-13")
    assert c.real and c.low > 0 and c.mdc < 16.0
    assert_allclose(c.mdc**2, c.start_half**2 + c.now_half**2)  # the two levels' chances are independent of each other
    assert_allclose(c.start_half, np.sqrt((trend.sessions["high"] - trend.sessions["median"])[:2].pow(2).sum()) / 2)


def test_sessions_too_near_for_fortnights_are_compared_first_to_latest():
    own = readings([0, 7, 14], [150.0, 158.0, 166.0])
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    assert (trend.change.start_sessions, trend.change.now_sessions, trend.change.change) == (1, 1, 16.0)


def test_three_sessions_never_make_a_change_however_far_apart():
    own = readings([0, 7, 14], [100.0, 140.0, 180.0])
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    assert not trend.change.real


def test_two_odd_ends_do_not_make_a_change_that_the_rest_denies():
    # First and last sessions differ, everything between falls slightly: no trend bears the change out.
    own = readings(np.arange(12) * 7, [150, 150, 162, 161, 160.0, 159, 158, 157, 156, 155, 160.5, 160.5])
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    assert abs(trend.change.change) > trend.change.mdc and not trend.change.real


def test_gaps_in_time_break_the_line_and_gaps_in_values_stay():
    own = readings([0, 7, 14, 63, 70], [150.0, 151.0, np.nan, 152.0, 153.0])
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    assert list(trend.sessions["segment"]) == [0, 0, 1, 1]
    assert len(trend.attempts) == 5 and trend.attempts["value"].isna().sum() == 1


def test_one_session_is_shown_and_says_nothing():
    own = readings([0], [150.0])
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    assert np.isnan(trend.slope.per_month) and np.isnan(trend.change.change) and not trend.change.real
    assert_allclose(trend.change.now_half, trend.sessions["high"] - trend.sessions["median"])


def test_alone_and_routine_and_sides_are_series_of_their_own_and_other_athletes_stay_out():
    rows = pd.concat([
        readings([0], [1.0], setting="routine"), readings([0], [2.0]), readings([0], [3.0], athlete="B"),
        readings([0], [4.0], side="left", skill="cartwheel", detail="knee_angle"),
    ])  # fmt: skip
    assert [t.key for t in athlete_trends(rows, "OT-01")] == [
        ("cartwheel", "knee_angle", "left", "alone"), ("shoulder_stand", "hip_angle", "", "alone"), ("shoulder_stand", "hip_angle", "", "routine"),
    ]  # fmt: skip


def test_mdc_of_two_attempts_is_weirs_with_students_quantile():
    own = sessions_of(150, rng=np.random.default_rng(12), between=0.0, within=3.0)
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    assert 2 < trend.df < 200
    assert_allclose(trend.mdc, stats.t.ppf(0.975, trend.df) * np.sqrt(2) * trend.sem)
    assert trend.mdc > 1.96 * np.sqrt(2) * trend.sem


def test_an_athlete_without_a_club_needs_more_to_be_sure():
    own = sessions_of(150, rng=np.random.default_rng(13), per_week=0.3)
    (alone,), (with_club,) = athlete_trends(own, "OT-01"), athlete_trends(own, "OT-01", club_and(own))
    assert alone.df < with_club.df


def test_four_sessions_of_one_child_alone_do_not_show_what_chance_is():
    """Two residuals, not independent, are worth one degree of freedom: Student's t of it would make ± 91° out of ± 6°."""
    from pipeline.reports.trend_view import level_words
    from pipeline.trends.words import sentence

    own = readings([0, 7, 14, 21], [170.0, 176.0, 168.0, 173.0], own=3.0)
    (trend,) = athlete_trends(own, "OT-01")
    assert np.isnan([trend.change.mdc, trend.change.now_half]).all() and trend.sessions["variance"].isna().all()
    assert sentence(trend, None) == "No change we can be sure of: 4 sessions, too few to know what is chance."
    assert level_words(trend, 173.0, trend.change.now_half, str(trend.sessions["date"].iloc[-1])) == "173° ± 6°"
    longer = readings(7 * np.arange(8), [170.0, 176, 168, 173, 171, 175, 169, 172], own=3.0)
    (known,) = athlete_trends(longer, "OT-01")
    assert known.df >= 2 and 3 < known.change.mdc < 40


def test_unless_they_change_by_more_than_even_that_allows():
    rising = readings([0, 7, 14, 21], [100.0, 110.5, 119.5, 130.0], own=3.0)
    (trend,) = athlete_trends(rising, "OT-01")
    assert 0 < trend.df < 2 and trend.change.real and trend.change.mdc < 30 and np.isfinite(trend.sessions["variance"]).all()
