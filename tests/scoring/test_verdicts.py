"""Guarded decisions, against the worked examples of JCGM 106:2012 and by their properties.

JCGM 106:2012, "Evaluation of measurement data - The role of measurement uncertainty in conformity assessment". Example
values and clause numbers are from memory.
"""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy.stats import norm

from pipeline.scoring.tolerances import Kind, Tolerance, load_tolerances
from pipeline.scoring.verdicts import ARMS_OWN, NO_TOLERANCE, ONLY_OWN, ONLY_THERE, TOO_ROUGH, TOO_WIDE, decide, score
from pipeline.trends.shares import with_verdicts
from pipeline.vocabulary import READING_COLUMNS, Verdict


def verdict(value: float, low: float, high: float, tolerance: Tolerance) -> Verdict:
    return decide(value, low, high, tolerance)[0]


def plus_minus(value: float, expanded: float, tolerance: Tolerance) -> Verdict:
    return verdict(value, value - expanded, value + expanded, tolerance)


# ------------------------------------------------------------------ worked examples of JCGM 106:2012


def test_zener_diode_may_conform_but_is_not_accepted():
    """Clause 7.3: breakdown voltage -5.47 V, u = 0.05 V, upper limit -5.40 V: conformance probability 92 %, below 97.5 %."""
    limit = Tolerance(Kind.AT_MOST, -5.40, 0.0, 0.0)
    assert norm.cdf((-5.40 - -5.47) / 0.05) == pytest.approx(0.92, abs=0.005)
    assert plus_minus(-5.47, 2 * 0.05, limit) is Verdict.CANNOT_TELL
    assert plus_minus(-5.51, 2 * 0.05, limit) is Verdict.MET


def test_burst_strength_is_accepted():
    """Clause 7.3: burst strength 509.7 kPa, u = 8.6 kPa, lower limit 490 kPa: conformance probability 99 %, above 97.5 %."""
    limit = Tolerance(Kind.AT_LEAST, 490.0, 0.0, 0.0)
    assert norm.cdf((509.7 - 490) / 8.6) == pytest.approx(0.99, abs=0.002)
    assert plus_minus(509.7, norm.ppf(0.975) * 8.6, limit) is Verdict.MET


def test_motor_oil_cannot_be_told():
    """Clause 7.4: viscosity 13.6, u = 1.8, limits 12.5 and 16.3 mm2/s: conformance probability 66 %."""
    limits = Tolerance(Kind.BOTH, (12.5 + 16.3) / 2, (16.3 - 12.5) / 2, (16.3 - 12.5) / 2)
    inside = norm.cdf((16.3 - 13.6) / 1.8) - norm.cdf((12.5 - 13.6) / 1.8)
    assert inside == pytest.approx(0.66, abs=0.005)
    assert plus_minus(13.6, 2 * 1.8, limits) is Verdict.CANNOT_TELL


@pytest.mark.parametrize(("speed", "expected"), [(106.0, Verdict.CANNOT_TELL), (107.0, Verdict.NOT_YET)])
def test_speed_limit_is_refused_only_beyond_the_guard_band(speed, expected):
    """Clause 8.3.3, guarded rejection: limit 100 km/h, relative u = 2 %, 99.9 % sure wanted: nobody is fined below 107 km/h."""
    z = norm.ppf(0.999)
    assert 100 / (1 - z * 0.02) == pytest.approx(106.6, abs=0.05)  # rounded up to 107 in the example
    assert plus_minus(speed, z * 0.02 * speed, Tolerance(Kind.AT_MOST, 100.0, 0.0, 0.0)) is expected


def test_acceptance_limit_is_the_tolerance_limit_less_the_expanded_uncertainty():
    """Clause 8.3.2: A = T - w with the guard band w = r U and r = 1 (ISO 14253-1)."""
    limit, u95 = Tolerance(Kind.AT_MOST, 10.0, 0.0, 0.0), 0.5
    assert plus_minus(9.5, u95, limit) is Verdict.MET
    assert plus_minus(math.nextafter(9.5, 10), u95, limit) is not Verdict.MET
    assert plus_minus(10.5, u95, limit) is Verdict.CANNOT_TELL
    assert plus_minus(10.501, u95, limit) is Verdict.NOT_YET


def test_wrong_certain_verdicts_stay_within_the_stated_risk():
    """8.3: with a normal error and U at 95 %, a value exactly on a limit is wrongly called certain in at most 2.5 % each way."""
    rng = np.random.default_rng(1)
    hips = Tolerance(Kind.BOTH, 180.0, 15.0, 30.0)
    u, n = 3.0, 40_000
    on_met_limit = 195.0 + 1e-9 + rng.normal(0, u, n)
    on_close_limit = 210.0 + rng.normal(0, u, n)
    wrongly_met = decide(on_met_limit, on_met_limit - 1.96 * u, on_met_limit + 1.96 * u, hips) == Verdict.MET
    wrongly_not_yet = decide(on_close_limit, on_close_limit - 1.96 * u, on_close_limit + 1.96 * u, hips) == Verdict.NOT_YET
    three_sigma = 3 * math.sqrt(0.025 * 0.975 / n)
    assert wrongly_met.mean() == pytest.approx(0.025, abs=three_sigma)
    assert wrongly_not_yet.mean() == pytest.approx(0.025, abs=three_sigma)


# ------------------------------------------------------------------ the rule, case by case

HIPS = Tolerance(Kind.BOTH, 180.0, 15.0, 30.0)  # met 165..195, close 150..165 and 195..210
LEG = Tolerance(Kind.AT_LEAST, 180.0, 15.0, 30.0)  # met 165 and more
TIME = Tolerance(Kind.AT_MOST, 0.0, 0.06, 0.15)


@pytest.mark.parametrize(
    ("tolerance", "low", "value", "high", "expected"),
    [
        (HIPS, 176, 180, 184, Verdict.MET),
        (HIPS, 165, 170, 175, Verdict.MET),  # the limit itself is met
        (HIPS, 164.9, 170, 175, Verdict.CLOSE),  # across one limit only
        (HIPS, 152, 157, 162, Verdict.CLOSE),
        (HIPS, 145, 152, 160, Verdict.CLOSE),  # across close and not yet
        (HIPS, 130, 140, 149.9, Verdict.NOT_YET),
        (HIPS, 130, 140, 150, Verdict.CLOSE),
        (HIPS, 149, 158, 166, Verdict.CANNOT_TELL),
        (HIPS, 211, 220, 230, Verdict.NOT_YET),  # arched counts as piked does
        (HIPS, 140, 180, 220, Verdict.CANNOT_TELL),
        (HIPS, 190, 200, 209, Verdict.CLOSE),
        (LEG, 170, 185, 200, Verdict.MET),  # past the target does not count
        (LEG, 120, 135, 149, Verdict.NOT_YET),
        (LEG, 149, 160, 190, Verdict.CANNOT_TELL),
        (TIME, 0, 0, 0.05, Verdict.MET),
        (TIME, 0.16, 0.3, 0.4, Verdict.NOT_YET),
        (TIME, 0.05, 0.1, 0.2, Verdict.CANNOT_TELL),
        (HIPS, math.nan, math.nan, math.nan, Verdict.CANNOT_TELL),
        (HIPS, math.nan, 180, 184, Verdict.CANNOT_TELL),  # a value without its interval decides nothing
    ],
)
def test_rule(tolerance, low, value, high, expected):
    assert verdict(value, low, high, tolerance) is expected


# ------------------------------------------------------------------ properties

numbers = st.floats(-500, 500, allow_nan=False)
widths = st.floats(0, 200)
tolerances = st.builds(
    lambda kind, target, met, more: Tolerance(kind, target, met, met + more), st.sampled_from(Kind), numbers, widths, widths
)
CERTAIN = {Verdict.MET, Verdict.NOT_YET}


@given(tolerances, numbers, widths, widths, widths, widths)
@example(HIPS, 158.0, 9.0, 8.0, 0.0, 0.0)
def test_widening_the_interval_never_makes_a_verdict_more_certain(tolerance, value, down, up, more_down, more_up):
    narrow = verdict(value, value - down, value + up, tolerance)
    wide = verdict(value, value - down - more_down, value + up + more_up, tolerance)
    if narrow is Verdict.CANNOT_TELL:
        assert wide is Verdict.CANNOT_TELL
    if wide in CERTAIN:
        assert narrow is wide


@given(tolerances, numbers, widths, st.floats(0, 300))
def test_moving_away_from_the_target_never_improves_a_verdict(tolerance, distance, half, further):
    sign = -1 if tolerance.kind is Kind.AT_LEAST else 1
    order = [Verdict.MET, Verdict.CLOSE, Verdict.NOT_YET]
    distance = abs(distance)
    near, far = (plus_minus(tolerance.target + sign * d, half, tolerance) for d in (distance, distance + further))
    assume(near in order and far in order)
    assert order.index(far) >= order.index(near)


@given(tolerances, numbers, widths, widths, st.integers(-200, 200))
def test_shifting_target_and_reading_together_changes_nothing(tolerance, value, down, up, shift):
    # multiples of 1/64 below 2^11 add without rounding, so limits move exactly with the values
    value, down, up = (round(x * 64) / 64 for x in (value, down, up))
    tolerance = Tolerance(tolerance.kind, *(round(x * 64) / 64 for x in (tolerance.target, tolerance.met_within, tolerance.close_within)))
    moved = Tolerance(tolerance.kind, tolerance.target + shift, tolerance.met_within, tolerance.close_within)
    assert verdict(value, value - down, value + up, tolerance) is verdict(value + shift, value - down + shift, value + up + shift, moved)


@given(tolerances, numbers, widths)
def test_mirroring_values_and_kind_changes_nothing(tolerance, value, half):
    other = {Kind.AT_LEAST: Kind.AT_MOST, Kind.AT_MOST: Kind.AT_LEAST, Kind.BOTH: Kind.BOTH}[tolerance.kind]
    mirrored = Tolerance(other, -tolerance.target, tolerance.met_within, tolerance.close_within)
    assert verdict(value, value - half, value + half, tolerance) is verdict(-value, -value - half, -value + half, mirrored)


# ------------------------------------------------------------------ the table


def readings(*rows: dict) -> pd.DataFrame:
    blank = dict.fromkeys(READING_COLUMNS, "")
    numbers = dict.fromkeys(("value", "low", "high"), math.nan)
    return pd.DataFrame([{**blank, **numbers, **row} for row in rows]).astype(dict.fromkeys(numbers, float))


def test_score_fills_verdicts_keeps_reasons_and_leaves_its_input_alone():
    table = readings(
        {"skill": "shoulder_stand", "detail": "hip_angle", "value": 170, "low": 166, "high": 174},
        {"skill": "shoulder_stand", "detail": "hip_angle", "value": 158, "low": 140, "high": 176},
        {
            "skill": "cartwheel",
            "detail": "knee_angle",
            "value": np.nan,
            "low": np.nan,
            "high": np.nan,
            "reason": "The legs are out of the picture.",
        },
        {"skill": "lunge", "detail": "knee_angle", "value": 140, "low": 136, "high": 144},
        {"skill": "lunge", "detail": "not_a_detail_we_know", "value": 1, "low": 0, "high": 2},
        {"skill": "lunge", "detail": "arm_peak_speed", "value": 5, "low": 4, "high": 6},
    )
    before = table.copy()
    out = score(table, load_tolerances())
    assert list(out["verdict"]) == ["met", "cannot tell", "cannot tell", "not yet", "cannot tell", "cannot tell"]
    assert list(out["reason"]) == ["", TOO_WIDE, "The legs are out of the picture.", "", NO_TOLERANCE, ARMS_OWN]
    pd.testing.assert_frame_equal(table, before)
    assert list(out.columns) == list(table.columns)


def test_a_reading_without_a_verdict_says_why_in_words_that_fit_it(tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text('[lunge.hip_angle]\nkind = "own"\n', encoding="utf-8")
    speeds = [("lunge", "arm_peak_speed"), ("shoulder_stand", "arm_time_to_peak"), ("shoulder_stand", "arm_smoothness")]
    others = [("cartwheel", "hands_in_line"), ("lunge", "hip_angle")]
    table = readings(*({"skill": s, "detail": d, "value": 20, "low": 4, "high": 36} for s, d in speeds + others))
    tolerances = load_tolerances(mine)
    out = score(table, tolerances)
    assert list(out["reason"]) == [ARMS_OWN] * 3 + [TOO_ROUGH, ONLY_OWN] and set(out["verdict"]) == {"cannot tell"}
    speeds_only = {detail for _, detail in load_tolerances().own} - {"hands_in_line"}
    assert all(detail.startswith("arm_") for detail in speeds_only)  # whatever else gets no verdict needs a reason that fits
    for text in out["reason"].iloc[3:]:
        assert "fast" not in text and "slow" not in text


def test_what_only_a_routine_asks_for_gets_no_verdict_elsewhere():
    facing = {"skill": "shoulder_stand", "detail": "finish_side", "value": 2, "low": -10, "high": 14}
    unseen = {**facing, "value": np.nan, "low": np.nan, "high": np.nan, "reason": "The shoulders were not seen."}
    table = readings(facing, facing, facing, unseen).assign(setting=["alone", "routine", "", "alone"])
    out = score(table, load_tolerances())
    assert list(out["verdict"]) == ["cannot tell", "not yet", "not yet", "cannot tell"]
    assert list(out["reason"]) == [ONLY_THERE["routine"], "", "", "The shoulders were not seen."]
    assert list(with_verdicts(table, load_tolerances())["verdict"]) == list(out["verdict"])


def test_score_of_no_readings_is_no_readings():
    assert score(readings({}).iloc[:0], load_tolerances()).empty
