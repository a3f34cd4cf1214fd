"""Legs apart in a cartwheel with piked hips: a body in space whose thighs point at the camera, filmed in the flat picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.landmarks.track import INDEX
from pipeline.measures.cartwheel_shape import opened
from pipeline.measures.measure import measure_attempt
from pipeline.measures.reading import Reading
from pipeline.measures.uncertainty import Known
from pipeline.vocabulary import DETAIL, Setting, Side, Skill
from tests.measures import bodies
from tests.measures.bodies import film
from tests.measures.stick import THIGH

SD, FACTOR = 6.0, 2.0
PLAIN = {key: Known(0.0, SD, FACTOR, 100) for key in DETAIL}
CAMERA = np.array([1.0, 0.0, 0.0])  # the way the athlete faces, and the camera is there


def pair(apart: float, pike: float, *, away: bool = False) -> np.ndarray:
    """(2, 3) unit thighs (forward, left, up) of a handstand: `apart` degrees between them, both piked towards the camera or away."""
    half, turn = np.radians(apart / 2), np.radians(-pike if away else pike)
    middle = np.array([np.sin(turn), 0.0, np.cos(turn)])
    return np.array([np.cos(half) * middle + sign * np.sin(half) * np.array([0.0, 1.0, 0.0]) for sign in (1, -1)])


def legs_apart(apart: float, pike: float) -> Reading:
    """What is read of a cartwheel whose legs are so far apart in space, hips piked all the while she is upside down."""
    motion = bodies.cartwheel()
    joints, (start, end) = motion.joints.copy(), (1.1, 2.3)
    bend = np.clip(np.minimum(motion.t - start, end - motion.t) / 0.15, 0, 1)
    for k, t in enumerate(bend):
        if t <= 0:
            continue
        hips = joints[k, [INDEX["left_hip"], INDEX["right_hip"]]]
        shoulders = joints[k, [INDEX["left_shoulder"], INDEX["right_shoulder"]]]
        up = hips.mean(axis=0) - shoulders.mean(axis=0)
        up /= np.linalg.norm(up)
        across = np.cross(CAMERA, up)
        across *= np.sign(across @ (hips[0] - hips[1]))
        for side, hip, thigh in zip(("left", "right"), hips, pair(apart, pike * t), strict=True):
            joints[k, INDEX[f"{side}_knee"]] = hip + THIGH * (thigh[0] * CAMERA + thigh[1] * across + thigh[2] * up)
    track = film(replace(motion, joints=joints), turned=-90.0)
    attempt = Attempt(Skill.CARTWHEEL, 1, 0.5, 2.9, start + 0.3, end - 0.3, 1, Side.LEFT, Setting.ALONE, 1.0)
    return next(r for r in measure_attempt(track, attempt, table=PLAIN)[0] if r.detail == "legs_apart")


def test_thighs_that_point_at_the_camera_look_far_apart_and_the_interval_says_so() -> None:
    got = legs_apart(70.0, 85.0)
    assert got.value > 150.0  # 2 atan(tan 35 / cos 85) = 166
    assert got.low < 70.0 < got.high


@pytest.mark.parametrize("apart", [60.0, 70.0])
@pytest.mark.parametrize("pike", [0.0, 30.0, 45.0, 60.0, 70.0, 75.0, 80.0, 90.0])
def test_however_far_piked_legs_close_together_are_never_surely_apart(apart: float, pike: float) -> None:
    assert legs_apart(apart, pike).low < 100.0  # what the beginners' tolerances call met


@pytest.mark.parametrize("apart", [70.0, 120.0, 160.0])
def test_thighs_at_full_length_widen_nothing(apart: float) -> None:
    got = legs_apart(apart, 0.0)
    assert got.value == pytest.approx(apart, abs=1.0)
    assert got.value - got.low == pytest.approx(FACTOR * SD, abs=0.5) and got.high - got.value == pytest.approx(FACTOR * SD, abs=0.5)


@pytest.mark.parametrize("away", [False, True])
@pytest.mark.parametrize("apart", [40.0, 55.0, 70.0])
def test_the_depth_put_back_gives_the_angle_in_space(apart: float, away: bool) -> None:
    left, right = pair(apart, 85.0, away=away)
    flat = np.degrees(2 * np.arctan(np.tan(np.radians(apart / 2)) / np.cos(np.radians(85.0))))
    assert flat - 2 * opened(50 * left[1:], 50 * right[1:], 50.0) == pytest.approx(apart, abs=0.01)


def test_the_doubt_grows_smoothly_as_thighs_shorten() -> None:
    sizes = np.linspace(0.5, 1.2, 701)
    half = np.radians(70.0)
    doubt = np.array(
        [opened(50 * s * np.array([np.sin(half), np.cos(half)]), 50 * s * np.array([-np.sin(half), np.cos(half)]), 50.0) for s in sizes]
    )
    assert np.all(np.diff(doubt) <= 1e-9) and np.abs(np.diff(doubt)).max() < 1.0
    assert doubt[0] > 30.0 and np.all(doubt[sizes > 0.76] == 0.0)
