"""The drawings put numbers where they belong."""

import re

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.reports.overlay import overlay
from pipeline.reports.plots import CurveData, Scale, curve_plot, ribbon, ticks
from pipeline.scoring.tolerances import Kind, Tolerance

HIPS = Tolerance(Kind.BOTH, 180.0, 15.0, 30.0)
WORDS = {"met": "met", "close": "close", "not yet": "not yet"}


def plot(t, value, low=None, high=None, tolerance=HIPS, at=1.0, read=170.0):
    arrays = [np.asarray(a, float) for a in (t, value, value if low is None else low, value if high is None else high)]
    return curve_plot(
        CurveData(*arrays), "deg", tolerance, window=(0.5, 1.5), window_words="hold", at_s=at, value=read, verdict="met",
        seconds_words="s", label="hips",
    )  # fmt: skip


def line_points(svg: str, name: str) -> list[np.ndarray]:
    """The stretches of a drawn path as arrays of (x, y)."""
    path = re.search(rf'<path d="([^"]+)" class="{name}"', svg)[1]
    out = []
    for piece in path.replace("z", "").split("M")[1:]:
        start, steps = piece.split("l")
        moves = np.array([float(v) for v in steps.split()]).reshape(-1, 2)
        out.append(np.cumsum(np.vstack([[float(v) for v in start.split()], moves]), axis=0))
    return out


def test_scale_is_linear_and_stops_at_its_ends():
    scale = Scale(100, 200, 10, 110)
    assert [scale(v) for v in (100, 150, 200, 300)] == [10, 60, 110, 110]
    assert list(scale.tenths(np.array([100.0, 125.0, 200.0]))) == [100, 350, 1100]


@given(st.floats(-1e4, 1e4), st.floats(0.01, 1e4), st.integers(2, 8))
@example(2.741709851911811e-06, 4005.0, 2)
def test_ticks_are_even_round_and_inside(low, width, about):
    found = ticks(low, low + width, about)
    assert all(low - 1e-6 <= t <= low + width + 1e-6 for t in found)
    assert len(found) <= 2 * about + 2
    if len(found) > 2:
        steps = np.diff(found)
        assert np.allclose(steps, steps[0], rtol=1e-4)


def test_a_straight_rise_is_drawn_as_a_straight_rise():
    t = np.linspace(0, 2, 61)
    (points,) = line_points(plot(t, 150 + 30 * t), "line")
    assert len(points) == 61
    slope = np.diff(points[:, 1]) / np.diff(points[:, 0])
    assert np.allclose(slope, slope.mean(), atol=0.02) and slope.mean() < 0  # up the page


def test_a_gap_stays_a_gap_and_a_lone_frame_is_a_dot():
    value = np.full(61, 170.0)
    value[20:30] = np.nan
    value[40], value[42] = np.nan, np.nan
    svg = plot(np.linspace(0, 2, 61), value)
    assert [len(p) for p in line_points(svg, "line")] == [20, 10, 18]
    assert svg.count('class="dot"') == 1


def test_the_moment_read_stands_at_its_time():
    t = np.linspace(0, 2, 61)
    svg = plot(t, np.full(61, 170.0), at=1.0)
    left, right = (line_points(svg, "line")[0][i, 0] / 10 for i in (0, -1))
    assert float(re.search(r'<path d="M([\d.]+) [^"]*" class="moment"', svg)[1]) == pytest.approx((left + right) / 2, abs=0.2)


def test_no_reading_no_moment():
    svg = plot(np.linspace(0, 2, 61), np.full(61, 170.0), at=float("nan"), read=float("nan"))
    assert "moment" not in svg and "nan" not in svg


def test_long_curves_are_thinned_and_keep_both_ends():
    t = np.linspace(0, 60, 5000)
    (points,) = line_points(plot(t, 170 + np.sin(t)), "line")
    assert len(points) <= 200
    assert points[0, 0] / 10 == pytest.approx(46) and points[-1, 0] / 10 == pytest.approx(630)


@pytest.mark.parametrize("kind", Kind)
def test_ribbon_puts_value_and_interval_in_order_and_inside(kind):
    svg = ribbon(150.0, 140.0, 165.0, "deg", Tolerance(kind, 180.0, 15.0, 30.0), "close", WORDS, "hips")
    left, right = map(float, re.search(r'd="M([\d.]+) 17v12M[\d.]+ 23H([\d.]+)', svg).groups())
    at = float(re.search(r'<circle cx="([\d.]+)" cy="23"', svg)[1])
    assert 8 <= left < at < right <= 312


def test_ribbon_reaches_a_value_far_outside_its_bands():
    svg = ribbon(60.0, 50.0, 70.0, "deg", HIPS, "not-yet", WORDS, "hips")
    assert 8 < float(re.search(r'd="M([\d.]+) 17v12', svg)[1]) < 60


def test_labels_are_escaped():
    for svg in (
        ribbon(1.0, 0.5, 2.0, "<m>", HIPS, "met", WORDS, '"><script>'),
        overlay(((0, 0), (5, 5)), 10, 10, "met", "<b>", chord=False),
    ):
        assert "<script>" not in svg and "<b>" not in svg and "<m>" not in svg


def test_overlay_has_one_joint_a_point_and_an_arc_for_an_angle():
    svg = overlay(((0, 0), (100, 0), (100, 100)), 960, 720, "met", "90°", chord=False)
    assert svg.count('class="joint') == 3 and svg.count('class="arc') == 1 and "chord" not in svg
    assert 'class="arc' in svg
    assert 'class="arc' not in overlay(((0, 0), (100, 0), (100, 100)), 960, 720, "met", "42 %", chord=False, angle=False), (
        "no angle is read there"
    )
    assert overlay(((0, 0),), 960, 720, "met", "", chord=True) == ""
    assert 'class="chord"' in overlay(((0, 0), (1, 1), (2, 0), (3, 1)), 960, 720, "met", "", chord=True)
    assert overlay(((1, 1), (1, 1), (1, 1)), 960, 720, "met", "", chord=False).count("nan") == 0  # all joints in one place
