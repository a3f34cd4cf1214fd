"""Numbers as people read them."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reports.change_words import signed
from pipeline.reports.numbers import doubt, number, plus_minus, quantity, shown_ends, span

NARROW = "\u202f"


@pytest.mark.parametrize(
    ("value", "low", "high", "unit", "shown"),
    [
        (168.2, 164.3, 172.1, "deg", "168° ± 4°"),
        (168.0, 167.5, 168.5, "deg", "168.0° ± 0.5°"),  # known to better than a degree: one place
        (168.0, 160.0, 170.0, "deg", "168° (160–170°)"),  # lopsided: the range itself
        (0.0, 0.0, 0.05, "s", f"0.00{NARROW}s (0.00–0.05{NARROW}s)"),
        (-0.2, -4.1, 3.9, "deg", "0° ± 4°"),  # never minus zero
        (-5.0, -9.0, -1.0, "% shank", f"\u22125{NARROW}% ± 4{NARROW}%"),
        (12.0, 12.0, 12.0, "deg", "12.0° ± 0.0°"),
    ],
)
def test_value_with_its_interval(value, low, high, unit, shown):
    assert plus_minus(value, low, high, unit) == shown


@pytest.mark.parametrize(
    ("value", "low", "high", "unit", "shown"),
    [
        (168.2, 164.3, 172.1, "deg", "± 4"),
        (168.0, 160.0, 170.0, "deg", "160–170"),
        (2.0, -6.0, 3.0, "deg", "\u22126 … 3"),
        (1.0, 0.0, 1.0, "steps", "0–1"),
        (0.28, 0.13, 0.43, "s", "± 0.15"),
        (0.3, math.nan, math.nan, "s", ""),
    ],
)
def test_the_interval_beside_a_value_in_a_table(value, low, high, unit, shown):
    assert doubt(value, low, high, unit) == shown


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (11.4, "deg", "+11°"), (-1.23, "deg", "\u22121.2°"), (-0.04, "deg", "0.0°"), (0.0, "s", f"0.00{NARROW}s"),
        (-0.6, "% chord", f"\u22120.6{NARROW}%"), (4.2, "% shank", f"+4{NARROW}%"), (0.12, "s", f"+0.12{NARROW}s"), (1.5, "arms/s", "+1.5"),
    ],
)  # fmt: skip
def test_a_change_has_its_sign_and_its_unit_and_zero_has_none(value, unit, shown):
    assert signed(value, unit) == shown


@pytest.mark.parametrize(
    ("skill", "detail", "value", "low", "high", "shown"),
    [
        ("cartwheel", "knee_angle", 178.0, 174.0, 182.0, (174.0, 180.0)),
        ("shoulder_stand", "hip_angle", 178.0, 174.0, 182.0, (174.0, 182.0)),  # hips may be arched
        ("shoulder_stand", "leg_to_vertical", 2.0, -3.0, 7.0, (0.0, 7.0)),
        ("backward_roll", "knee_contact_time", 0.1, -0.1, 0.3, (0.0, 0.3)),
        ("loaded_lunge", "lean_angle", 2.0, -3.0, 7.0, (-3.0, 7.0)),
        ("lunge", "not_a_detail_we_know", 178.0, -3.0, 182.0, (-3.0, 182.0)),
        ("lunge", "knee_angle", 178.0, -math.inf, math.inf, (-math.inf, math.inf)),
    ],
)
def test_an_interval_of_a_mean_ends_where_the_details_values_end(skill, detail, value, low, high, shown):
    assert shown_ends(value, low, high, skill, detail) == shown


def test_an_unknown_unit_is_written_out():
    assert quantity(3.0, "m/s") == "3 m/s"


@given(st.floats(-1000, 1000), st.floats(0, 100), st.floats(0, 100))
def test_the_shown_range_never_claims_more_than_the_interval(value, down, up):
    low, high = value - down, value + up
    words = re.split("–| … ", span(low, high, "deg").removesuffix("°"))
    words = [word.replace("\u2212", "-") for word in words]
    assert float(words[0]) <= low + 1e-6 and float(words[1]) >= high - 1e-6


def test_minus_zero_is_zero():
    assert number(-0.0) == "0" and number(-0.04, 1) == "0.0" and number(-0.06, 1) == "\u22120.1"
    assert not math.copysign(1, float(number(-0.0))) < 0
