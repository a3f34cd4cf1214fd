"""The further details on bodies whose answers were chosen beforehand: known in, the same out."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.stage.motions.arms import arm_lift
from pipeline.stage.motions.movement import Span
from pipeline.stage.truth import true_attempt
from pipeline.stage.truths.arms import lift_details, spectral_arc_length
from pipeline.stage.truths.backward_roll import _hands_and_feet, _head, _sway
from pipeline.stage.truths.cartwheel import _finish, _hands
from pipeline.stage.truths.geometry import Attempt
from pipeline.stage.truths.shoulder_stand import _rise
from pipeline.stage.truths.steps import steps
from pipeline.vocabulary import Side, Skill
from tests.stage.test_truth import body

ON, OFF = 0.0, 0.2
LEG = 0.30 + 0.27  # of tests.stage.test_truth.body
T = np.arange(361) / 120


def heights(n: int = len(T)) -> dict[str, np.ndarray]:
    """Feet on the floor, hands and knees off it."""
    return {f"{s}_{p}_low": np.full(n, ON if p == "foot" else OFF) for s in ("left", "right") for p in ("hand", "foot", "knee")}


def turned(j: dict[str, np.ndarray], degrees: float | np.ndarray) -> dict[str, np.ndarray]:
    """Counter-clockwise about the vertical, by one angle or by one a moment."""
    a = np.radians(np.broadcast_to(degrees, len(next(iter(j.values())))))
    c, s = np.cos(a), np.sin(a)
    return {k: np.stack([c * v[:, 0] - s * v[:, 1], s * v[:, 0] + c * v[:, 1], v[:, 2]], 1) for k, v in j.items()}


def values(details) -> dict[str, float]:
    return {f"{d.detail} {d.side}".strip(): d.value for d in details}


def attempt(j, low, skill=Skill.CARTWHEEL, lead=Side.LEFT, start=0.0, end=2.0, **more) -> Attempt:
    return Attempt(T, j, low, Span(skill, start, end, lead, **more), Side.LEFT)


@pytest.mark.parametrize("yaw", [0.0, 70.0, 180.0])
@pytest.mark.parametrize(("lean", "knee"), [(0.0, 150.0), (25.0, 110.0), (-10.0, 130.0)])
def test_the_loaded_lunge_reads_lean_and_back_knee(lean, knee, yaw):
    j = body(len(T))
    for side in ("left", "right"):
        j[f"{side}_shoulder"] = j[f"{side}_hip"] + 0.38 * np.array([np.sin(np.radians(lean)), 0, np.cos(np.radians(lean))])
        j[f"{side}_elbow"] = j[f"{side}_shoulder"] + 0.2 * np.array([np.sin(np.radians(lean)), 0, np.cos(np.radians(lean))])
    bend = np.radians(180 - knee)
    j["right_ankle"] = j["right_knee"] + 0.27 * np.array([-np.sin(bend), 0, -np.cos(bend)])
    span = Span(Skill.LOADED_LUNGE, 0.0, 2.0, Side.LEFT, hold=(0.5, 1.5))
    got = values(true_attempt(T, turned(j, yaw), heights(), span, Side.LEFT).details)
    assert got["lean_angle"] == pytest.approx(lean, abs=1e-6)
    assert got["knee_angle"] == pytest.approx(knee)
    assert got["arms_by_ears"] == pytest.approx(0, abs=1e-5)


def raised(profile: np.ndarray, sweep: float) -> dict[str, np.ndarray]:
    """Arms that swing forward by sweep radians as the profile (0..1) says, straight at the elbow."""
    j = body(len(T))
    a = sweep * profile
    way = np.stack([np.sin(a), np.zeros_like(a), -np.cos(a)], 1)
    for side in ("left", "right"):
        j[f"{side}_elbow"], j[f"{side}_wrist"] = j[f"{side}_shoulder"] + 0.22 * way, j[f"{side}_shoulder"] + 0.40 * way
    return j


@pytest.mark.parametrize("seconds", [0.3, 0.6, 1.2])
def test_a_lift_of_least_jerk_peaks_at_15_eighths_of_its_mean_speed_halfway(seconds):
    """Flash & Hogan 1985, J Neurosci 5(7): 1688-1703: a minimum-jerk reach peaks at 1.875 of its mean speed, at half its time. The arm of
    one length sweeping 3 rad in `seconds` has the mean speed 3 / seconds arm lengths a second."""
    j = raised(arm_lift(T, 0.8, seconds), 3.0)
    got = values(lift_details(attempt(j, heights(), Skill.LUNGE, lift=(0.7, 0.9 + seconds))))
    assert got["arm_peak_speed"] == pytest.approx(1.875 * 3 / seconds, rel=0.01)
    first = next(x for x in np.linspace(0, 0.5, 5001) if 16 * x**2 * (1 - x) ** 2 >= 0.05)  # 5 % of the peak: the profile is 30 x^2 (1-x)^2
    assert got["arm_time_to_peak"] == pytest.approx((0.5 - first) * seconds, abs=0.017)


def test_smoothness_is_the_published_figure_for_one_smooth_reach_and_falls_with_every_hitch():
    """About -1.4 for a minimum-jerk profile (Balasubramanian et al. 2015, J NeuroEng Rehabil 12:112; the figure from memory)."""
    speed = [np.gradient(arm_lift(T, 0.5, 1.2, hitches), T) for hitches in (0, 1, 2, 3)]
    smooth = [spectral_arc_length(v[v > 0.05 * v.max()], 120.0) for v in speed]
    assert smooth[0] == pytest.approx(-1.41, abs=0.05)
    assert np.all(np.diff(smooth) < -0.1)
    assert spectral_arc_length(3 * speed[0], 120.0) == pytest.approx(spectral_arc_length(speed[0], 120.0))  # of any size


@pytest.mark.parametrize("apart", [0.0, 8.0, 20.0])
def test_legs_together_is_the_angle_between_the_legs(apart):
    j = body(len(T))
    a = np.radians(apart / 2)
    for side, sign in (("left", 1), ("right", -1)):
        for name, far in (("knee", 0.3), ("ankle", 0.57), ("foot_index", 0.7)):
            j[f"{side}_{name}"] = j[f"{side}_hip"] + far * np.array([0, sign * np.sin(a), np.cos(a)])
    span = Span(Skill.SHOULDER_STAND, 0.0, 2.0, Side.LEFT, hold=(0.5, 1.5))
    assert values(true_attempt(T, j, heights(), span, Side.LEFT).details)["legs_together"] == pytest.approx(apart, abs=1e-6)


@pytest.mark.parametrize(
    ("lead", "way", "wanted"), [(Side.LEFT, 90, 90), (Side.LEFT, -75, -75), (Side.RIGHT, -90, 90), (Side.RIGHT, 40, -40)]
)
def test_the_finish_counts_towards_the_lead_side_and_over_the_back(lead, way, wanted):
    j = turned(body(len(T)), 150 + way * np.clip((T - 1.5) / 0.5, 0, 1))  # passes 180
    low = heights()
    for s in ("left", "right"):
        low[f"{s}_foot_low"] = np.where(T < 1.2, OFF, ON)
    got = values(_rise(attempt(j, low, Skill.SHOULDER_STAND, lead, hold=(0.2, 0.8), end=2.5)))
    assert got["finish_side"] == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("hands", [(), ("left",), ("left", "right")])
def test_hands_count_only_between_the_feets_touch_and_standing(hands):
    low = heights()
    for s in ("left", "right"):
        low[f"{s}_foot_low"] = np.where(T < 1.2, OFF, ON)
        low[f"{s}_hand_low"] = np.where(T < 1.0, ON, OFF)  # in the stand: does not count
    for s in hands:
        low[f"{s}_hand_low"] = np.where((T > 1.3) & (T < 1.5), ON, low[f"{s}_hand_low"])
    got = values(_rise(attempt(body(len(T)), low, Skill.SHOULDER_STAND, hold=(0.2, 0.8), end=2.5)))
    assert got["rise_hands_used"] == len(hands)


def walking(feet: list[str], stride: float) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Both feet down until 0.5 s, then one foot after the other lifted for 0.2 s and put down a stride further on."""
    j, low = body(len(T)), heights()
    for k, foot in enumerate(feet):
        up = 0.5 + 0.3 * k
        low[f"{foot}_foot_low"] = np.where((up <= T) & (up + 0.2 > T), 0.04, low[f"{foot}_foot_low"])
        for p in ("ankle", "heel", "foot_index"):
            j[f"{foot}_{p}"][:, 0] += stride * np.clip((T - up) / 0.2, 0, 1)
    return j, low


@pytest.mark.parametrize("feet", [[], ["left"], ["left", "right"], ["right", "left", "right"]])
def test_steps_are_feet_lifted_and_put_down_elsewhere(feet):
    assert steps(attempt(*walking(feet, 0.2)), 0.2, 2.5) == len(feet)
    assert steps(attempt(*walking(feet, 0.01)), 0.2, 2.5) == 0  # lifted and put back


def test_feet_that_go_on_together_take_no_step():
    """Both leave the floor a moment after they touched, as a roll goes on over hands and knees; then one step follows."""
    j, low = walking(["left"], 0.2)
    for foot in ("left", "right"):
        low[f"{foot}_foot_low"] = np.where((T >= 1.2) & (T < 1.6), OFF, low[f"{foot}_foot_low"])
        for p in ("ankle", "heel", "foot_index"):
            j[f"{foot}_{p}"][:, 0] += 0.3 * np.clip((T - 1.2) / 0.4, 0, 1)
    assert steps(attempt(j, low), 0.2, 2.5) == 1


@pytest.mark.parametrize(("apart", "wanted"), [(0.0, 2), (0.35, 1)])
def test_the_step_that_closes_feet_put_down_apart_is_not_one_too_many(apart, wanted):
    j, low = walking(["left", "right"], 0.2)
    for p in ("ankle", "heel", "foot_index"):
        j[f"left_{p}"][:, 1] += apart
    assert values(_finish(attempt(j, low, end=2.5), (0.0, 0.1)))["step_together"] == wanted


def cartwheel_hands(between: float, yaw: float, line: float, fingers: float = 90.0) -> Attempt:
    """Hips that travel along `yaw`; the left hand down at 0.5 s, the right `between` s later, `line` degrees off the travel."""
    j, low = body(len(T)), heights()
    j = {k: v + np.stack([0.5 * T, 0 * T, 0 * T], 1) for k, v in j.items()}
    a, b = np.radians(line), np.radians(fingers)
    for side, spot in (("left", (0.6, 0.0)), ("right", (0.6 + 0.4 * np.cos(a), 0.4 * np.sin(a)))):
        for p in ("wrist", "index", "pinky"):
            j[f"{side}_{p}"] = np.tile([*spot, 0.03], (len(T), 1))
        j[f"{side}_fingertip"] = j[f"{side}_wrist"] + 0.1 * np.array([np.cos(b), np.sin(b), 0])
        j[f"{side}_ear"] = np.tile([0.8, 0.07 if side == "left" else -0.07, 0.5], (len(T), 1))
    j["nose"] = np.tile([0.8 + 0.1, 0.0, 0.5], (len(T), 1))
    low["left_hand_low"] = np.where((T >= 0.5) & (T < 1.5), ON, OFF)
    low["right_hand_low"] = np.where((0.5 + between <= T) & (T < 1.5), ON, OFF)
    return attempt(turned(j, yaw), low)


@pytest.mark.parametrize("yaw", [0.0, 130.0])
@pytest.mark.parametrize(("between", "line", "fingers"), [(0.25, 0.0, 90.0), (0.0, 30.0, 60.0), (0.1, -45.0, 140.0)])
def test_hands_in_turn_and_in_line(between, line, fingers, yaw):
    got = values(_hands(cartwheel_hands(between, yaw, line, fingers), (0.5, 1.5)))
    assert got["hands_in_turn"] == pytest.approx(between, abs=0.009)
    assert got["hands_in_line"] == pytest.approx(abs(line), abs=1e-6)
    assert got["hand_turned_in"] == pytest.approx(fingers, abs=1e-6)


def test_the_face_is_read_against_the_hands_on_the_floor():
    """Ears at (0.8, 0, 0.5) looking along x; both hands' middle 0.47 below and straight under the ears: 90 degrees."""
    assert values(_hands(cartwheel_hands(0.0, 20.0, 0.0), (0.5, 1.5)))["head_to_hands"] == pytest.approx(90.0, abs=0.5)


@pytest.mark.parametrize("turn", [0.0, 20.0, -50.0])
def test_the_head_turns_out_of_the_trunks_plane_while_the_hips_are_above_it(turn):
    j = body(len(T))
    over = (T > 1) & (T < 2)
    for side, y in (("left", 0.07), ("right", -0.07)):
        j[f"{side}_hip"][over, 2], j[f"{side}_shoulder"][over, 2] = 0.6, 0.2
        j[f"{side}_ear"] = np.stack([0 * T, y + 0 * T, np.where(over, 0.1, 1.2)], 1)
    a = np.radians(np.where(over, turn, 80.0))  # what the head does upright does not count
    j["nose"] = 0.5 * (j["left_ear"] + j["right_ear"]) + 0.1 * np.stack([np.cos(a), np.sin(a), 0 * a], 1)
    got = values(_head(attempt(turned(j, 33), heights(), Skill.BACKWARD_ROLL, end=2.5)))
    assert got["head_turn"] == pytest.approx(abs(turn), abs=1e-6)


def test_a_sway_of_known_size_has_a_known_path():
    """2 cm to either side, 1.5 times in the second: 4 * 2 * 1.5 = 12 cm, of a leg of 57 cm."""
    j = body(len(T))
    for side in ("left", "right"):
        j[f"{side}_hip"][:, 0] += 0.02 * np.sin(2 * np.pi * 1.5 * (T - 1.5))
    got = values(_sway(attempt(j, heights(), Skill.BACKWARD_ROLL, end=1.5)))
    assert got["standing_sway"] == pytest.approx(100 * 0.12 / LEG, rel=0.01)
    assert _sway(attempt(j, heights(), Skill.BACKWARD_ROLL, end=2.5)) == []  # the clip ends half a second later


def test_uneven_hands_and_extra_steps_of_a_roll():
    j, low = walking(["right"], -0.2)
    later = lambda name, a, b: np.where((a <= T) & (b > T), ON, OFF)  # noqa: E731
    shift = {"left_hand_low": later("", 0.1, 0.4), "right_hand_low": later("", 0.25, 0.4)}
    for s in ("left", "right"):
        low[f"{s}_foot_low"] = np.where(T < 0.45, OFF, low[f"{s}_foot_low"])
    a = attempt(j, low | shift, Skill.BACKWARD_ROLL, end=2.5)
    got = values(_hands_and_feet(a, T >= 0.3))
    assert got["hands_even"] == pytest.approx(0.15, abs=0.009)
    assert got["extra_steps"] == 1
