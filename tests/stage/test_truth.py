"""The true details on bodies whose answers were chosen beforehand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.stage.motions.movement import Span
from pipeline.stage.truth import directed, inverted_window, true_attempt
from pipeline.vocabulary import Side, Skill


def body(n: int = 5) -> dict[str, np.ndarray]:
    """Someone standing upright, facing +x, arms hanging, legs a little apart; unequal segments on purpose."""
    spots = {"shoulder": (0, 0.12, 1.0), "elbow": (0, 0.12, 0.78), "wrist": (0, 0.12, 0.6), "fingertip": (0, 0.12, 0.48), "hip": (0, 0.08, 0.62),
             "knee": (0, 0.08, 0.32), "ankle": (0, 0.08, 0.05), "heel": (-0.04, 0.08, 0.0), "foot_index": (0.12, 0.08, 0.0)}  # fmt: skip
    out = {}
    for name, (x, y, z) in spots.items():
        out[f"left_{name}"], out[f"right_{name}"] = np.tile([x, y, z], (n, 1)).astype(float), np.tile([x, -y, z], (n, 1)).astype(float)
    return out


@pytest.mark.parametrize("signed", [90.0, 130.0, 175.0, 180.0, 188.0, 200.0])
def test_the_signed_hip_reads_below_180_piked_and_above_180_arched(signed):
    j = body()
    fold = np.radians(180 - signed)
    for side in ("left", "right"):
        j[f"{side}_knee"] = j[f"{side}_hip"] + 0.3 * np.array([np.sin(fold), 0, -np.cos(fold)])
    assert_allclose(directed(j, j["left_shoulder"], j["left_hip"], j["left_knee"]), signed, atol=1e-9)


@pytest.mark.parametrize("yaw", [0.0, 40.0, 180.0])
@pytest.mark.parametrize(("lead", "bent"), [(Side.LEFT, "right"), (Side.RIGHT, "left")])
def test_the_lunge_reads_the_back_leg(lead, bent, yaw):
    j = body()
    j[f"{bent}_knee"] = j[f"{bent}_hip"] + 0.3 * np.array([np.sin(np.radians(20)), 0, -np.cos(np.radians(20))])
    j[f"{bent}_ankle"] = j[f"{bent}_knee"] + 0.27 * np.array([-np.sin(np.radians(10)), 0, -np.cos(np.radians(10))])
    c, s = np.cos(np.radians(yaw)), np.sin(np.radians(yaw))
    j = {k: v @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]]) for k, v in j.items()}
    span = Span(Skill.LUNGE, 0.0, 0.4, lead, hold=(0.1, 0.3))
    got = {(d.detail, d.side): d.value for d in true_attempt(np.arange(5) / 10, j, {}, span, Side.RIGHT).details}
    assert got["knee_angle", Side.NONE] == pytest.approx(150)
    assert got["hip_angle", Side.NONE] == pytest.approx(160)
    assert got["arms_by_ears", Side.NONE] == pytest.approx(180)  # hanging


def test_line_deviation_of_one_elbow_out_of_line():
    """Fingertip and heel 1 m apart, all on one line but the elbow, 5 cm off it: 5 % of the chord."""
    j = body()
    for side, y in (("left", 0.08), ("right", -0.08)):
        for k, name in enumerate(("heel", "ankle", "knee", "hip", "shoulder", "elbow", "wrist", "fingertip")):
            j[f"{side}_{name}"][:] = (0.6 * k / 7, y, 0.8 * k / 7)
        j[f"{side}_elbow"] += np.array([0.04, 0, -0.03])  # square to the line (0.6, 0.8)
    span = Span(Skill.LUNGE, 0.0, 0.4, Side.LEFT, hold=(0.0, 0.4))
    got = {(d.detail, d.side): d.value for d in true_attempt(np.arange(5) / 10, j, {}, span, Side.LEFT).details}
    assert got["line_deviation", Side.NONE] == pytest.approx(5.0)


def test_the_inverted_window_runs_from_the_first_hand_to_the_first_foot_after_flight():
    t = np.arange(10) / 10
    low = {"left_hand_low": np.array([1, 1, 0, 0, 0, 0, 1, 1, 1, 1.0]), "right_hand_low": np.array([1, 1, 1, 0, 0, 0, 0, 1, 1, 1.0]),
           "left_foot_low": np.array([0, 0, 0, 1, 1, 1, 1, 1, 1, 0.0]), "right_foot_low": np.array([0, 1, 1, 1, 1, 1, 1, 0, 0, 0.0])}  # fmt: skip
    assert inverted_window(t, low, Span(Skill.CARTWHEEL, 0.0, 0.9, Side.LEFT)) == pytest.approx((0.2, 0.7))


def test_a_knee_on_the_floor_counts_its_seconds_and_leaves_no_clearance():
    n = 241
    t = np.arange(n) / 120
    j = body(n)
    over = t > 0.5
    for side in ("left", "right"):  # rolled over towards -x: hips above the shoulders, ankles beyond them
        for name in ("shoulder", "hip", "ankle"):
            j[f"{side}_{name}"][:, 0] = -t
        j[f"{side}_hip"][over, 2], j[f"{side}_shoulder"][over, 2] = 0.5, 0.2
        j[f"{side}_ankle"][over, 0] -= 0.4
        j[f"{side}_ankle"][~over, 0] += 0.4
    shank = float(np.linalg.norm(j["left_knee"][0] - j["left_ankle"][0]))
    knee = np.full(n, 0.1)
    span = Span(Skill.BACKWARD_ROLL, 0.0, 2.0, Side.LEFT)
    low = {"left_knee_low": knee, "right_knee_low": knee + 0.05}
    up = np.full(n, 0.5)
    low |= {f"{side}_{limb}_low": up for side in ("left", "right") for limb in ("hand", "foot")}
    for side in ("left", "right"):
        j[f"{side}_ear"] = j[f"{side}_shoulder"] + np.array([0, 0, 0.15])
    j["nose"] = 0.5 * (j["left_ear"] + j["right_ear"]) + np.array([0.1, 0, 0])
    knees = ("knee_clearance", "knee_contact_time")
    clear = {d.detail: d.value for d in true_attempt(t, j, low, span, Side.LEFT).details if d.detail in knees}
    assert clear == {"knee_clearance": pytest.approx(100 * 0.1 / shank), "knee_contact_time": 0.0}
    touched = np.where((t >= 1.0) & (t < 1.25), 0.002, knee)
    low["right_knee_low"] = touched
    got = {d.detail: d.value for d in true_attempt(t, j, low, span, Side.LEFT).details if d.detail in knees}
    assert got == {"knee_clearance": 0.0, "knee_contact_time": pytest.approx(0.25, abs=0.01)}
