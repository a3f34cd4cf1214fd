from dataclasses import replace

import numpy as np
import pytest

from pipeline.scoring.tolerances import load_tolerances
from pipeline.trends.athlete import athlete_trends
from pipeline.trends.setting_drop import Drop
from pipeline.trends.words import NEARER, amount, direction, drop_sentence, sentence, when
from pipeline.vocabulary import DETAIL
from tests.trends.making import readings
from tests.trends.test_athlete import club_and

TOLERANCES = load_tolerances()
HIP = TOLERANCES["shoulder_stand", "hip_angle"]


def said(days, values, tolerance=HIP):
    own = readings(days, values)
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    return sentence(trend, tolerance)


WEEKS = np.arange(8) * 7


def test_flatter_and_by_how_much_and_since_when():
    words = said(WEEKS, 150 + 0.4 * WEEKS)
    assert words.startswith("Flatter by 17° since March (more than the ") and words.endswith("° that could be chance).")


def test_more_arched_is_less_flat_though_the_angle_grows():
    assert said(WEEKS, 185 + 0.4 * WEEKS).startswith("Less flat by 17°")


def test_from_piked_to_arched_is_not_called_better():
    assert said(WEEKS, 168 + 0.55 * WEEKS).startswith("From one side of the target to the other: 23°")


def test_few_sessions_are_counted_not_judged():
    assert said([0, 7, 14], [150.0, 160.0, 170.0]) == "No change we can be sure of: 3 sessions."
    assert said([0], [150.0]) == "No change we can be sure of: 1 session."


def test_a_change_inside_chance_says_how_much_could_be_chance():
    assert "could be chance (8 sessions)" in said(WEEKS, 150 + 0.01 * WEEKS)


def test_a_change_that_rounds_to_what_chance_can_do_is_just_more():
    own = readings(WEEKS, 150 + 0.4 * WEEKS)
    (trend,) = athlete_trends(own, "OT-01", club_and(own))
    change = replace(trend.change, change=7.4, mdc=7.1, real=True)
    assert sentence(replace(trend, change=change), HIP) == "Flatter by 7° since March (just more than the 7° that could be chance)."


def test_without_a_tolerance_nothing_is_called_better():
    assert said(WEEKS, 150 + 0.4 * WEEKS, None).startswith("More by 17°")


def test_a_change_beyond_the_target_is_said_to_have_been_there_all_along():
    words = said(WEEKS, 181 + 0.3 * WEEKS, TOLERANCES["cartwheel", "knee_angle"])
    assert words.startswith("More by 13°, at the target all along, since March")


def test_every_detail_has_its_own_words():
    assert set(NEARER) == set(DETAIL)


@pytest.mark.parametrize(
    ("value", "unit", "words"), [(-11.2, "deg", "11°"), (2.94, "deg", "2.9°"), (0.123, "s", "0.12 s"), (4.4, "% chord", "4 % of the line")]
)
def test_amounts(value, unit, words):
    assert amount(value, unit) == words


def test_days_are_said_as_a_coach_would():
    assert when("2026-03-02", "2026-05-25") == "March"
    assert when("2026-03-02", "2026-03-25") == "2 March"
    assert when("2025-11-02", "2026-03-25") == "November 2025"


def test_at_least_tolerances_do_not_count_the_far_side():
    change = athlete_trends(readings(WEEKS, 170 + 0.4 * WEEKS), "OT-01")[0].change
    assert direction(change, TOLERANCES["cartwheel", "knee_angle"]) == "better"


def test_drops_in_words():
    assert drop_sentence(Drop(-6.0, -9.0, -3.0, 7), "shoulder_stand", "hip_angle", "deg", 165.0, HIP).startswith(
        "In a routine less flat by 6°"
    )
    assert "No difference" in drop_sentence(Drop(-1.0, -3.0, 1.0, 7), "shoulder_stand", "hip_angle", "deg", 165.0, HIP)
    assert "Too few" in drop_sentence(Drop(-1.0, np.nan, np.nan, 2), "shoulder_stand", "hip_angle", "deg", 165.0, HIP)
    assert "never filmed" in drop_sentence(Drop(np.nan, np.nan, np.nan, 0), "shoulder_stand", "hip_angle", "deg", 165.0, HIP)
