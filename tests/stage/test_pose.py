"""Forward kinematics, reaching and rolling against answers known beforehand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from pipeline.stage.bodies import Body
from pipeline.stage.contact import SINK, settle
from pipeline.stage.motions.movement import mirrored, upright
from pipeline.stage.pose import Pin, Placed, Pose, place_bones
from pipeline.stage.rotations import rx, ry, rz, shortest
from pipeline.stage.truth import angle
from tests.stage.stick import FORE, SHANK, THIGH, UPPER, stick_body

BODY = stick_body()


def standing(n: int = 1) -> Pose:
    pose = Pose.standing(n)
    pose.root = upright(np.zeros(n))
    pose.place = np.tile([0.0, 0.0, 0.62], (n, 1))
    return pose


@pytest.mark.parametrize(("ours", "axis"), [(rx, "x"), (ry, "y"), (rz, "z")])
def test_turns_agree_with_scipy(ours, axis):
    degrees = np.array([-170.0, -30.0, 0.0, 45.0, 200.0])
    assert_allclose(ours(degrees), Rotation.from_euler(axis, degrees[:, None], degrees=True).as_matrix(), atol=1e-12)


@given(st.lists(st.floats(-1, 1), min_size=6, max_size=6).filter(lambda v: min(np.linalg.norm(v[:3]), np.linalg.norm(v[3:])) > 0.1))
def test_shortest_turn_takes_one_direction_to_the_other(v):
    a, b = np.array(v[:3]), np.array(v[3:])
    if np.dot(a, b) / np.linalg.norm(a) / np.linalg.norm(b) < -0.99:
        return
    r = shortest(a, b)
    assert_allclose(r @ a / np.linalg.norm(a), b / np.linalg.norm(b), atol=1e-9)
    assert_allclose(r @ r.T, np.eye(3), atol=1e-9)


@pytest.mark.parametrize("bend", [0.0, 20.0, 90.0, 140.0])
def test_knee_angle_is_180_less_the_flexion_and_the_shank_goes_back(bend):
    pose = standing()
    pose.limbs["knee.L"] = np.array([bend])
    placed = place_bones(BODY, pose)
    hip, knee, ankle = (placed.joint(BODY, f"{b}.L") for b in ("upperleg01", "lowerleg01", "foot"))
    assert_allclose(angle(hip, knee, ankle), 180 - bend, atol=1e-6)
    assert ankle[0, 0] <= knee[0, 0] + 1e-9  # facing +x, the shank folds towards -x
    assert_allclose([np.linalg.norm(hip - knee), np.linalg.norm(knee - ankle)], [THIGH, SHANK], atol=1e-9)


def test_arms_and_legs_go_where_their_angles_say():
    pose = standing()
    pose.limbs["hip.R"], pose.limbs["arm.L"] = np.array([90.0]), np.array([180.0])
    pose.limbs["spread.L"] = pose.limbs["elbow.L"] = pose.limbs["turnout.R"] = np.zeros(1)
    placed = place_bones(BODY, pose)
    assert_allclose(placed.joint(BODY, "lowerleg01.R") - placed.joint(BODY, "upperleg01.R"), [[THIGH, 0, 0]], atol=1e-9)  # thigh ahead
    assert_allclose(placed.joint(BODY, "wrist.L") - placed.joint(BODY, "upperarm01.L"), [[0, 0, UPPER + FORE]], atol=1e-9)  # arm up


@given(st.floats(-0.25, 0.25), st.floats(-0.2, 0.2), st.floats(0.15, 0.5))
def test_a_pinned_foot_is_where_it_is_pinned_and_bones_keep_their_length(x, y, down):
    pose = standing()
    hip = np.array([0.0, 0.07, 0.62])
    target = hip + np.array([x, y, -down])
    if not 0.05 < np.linalg.norm(target - hip) < 0.999 * (THIGH + SHANK):
        return
    placed = place_bones(BODY, pose, (Pin("foot.L", target[None], np.ones(1), np.array([[1.0, 0, 0.2]])),))
    knee, ankle = placed.joint(BODY, "lowerleg01.L"), placed.joint(BODY, "foot.L")
    assert_allclose(ankle[0], target, atol=1e-6)
    assert_allclose([np.linalg.norm(knee - hip), np.linalg.norm(ankle - knee)], [THIGH, SHANK], atol=1e-9)


def test_a_pin_without_weight_changes_nothing():
    pose = standing(3)
    pose.limbs["knee.L"] = np.array([10.0, 50.0, 90.0])
    free = place_bones(BODY, pose)
    pinned = place_bones(BODY, pose, (Pin("foot.L", np.zeros((3, 3)), np.zeros(3), np.tile([1.0, 0, 0], (3, 1))),))
    assert_allclose(free.shift, pinned.shift, atol=1e-12)


def test_the_mirrored_pose_is_the_reflection_of_every_joint():
    rng = np.random.default_rng(4)
    pose = standing()
    for name in pose.limbs:
        pose.limbs[name] = rng.uniform(-40, 40, 1)
    pose.spine, pose.spine_side, pose.neck_twist = rng.uniform(-30, 30, (3, 1))
    pose.place = np.array([[0.3, 0.2, 0.6]])
    here, there = place_bones(BODY, pose), place_bones(BODY, mirrored(pose))
    for label in BODY.labels:
        other = label[:-1] + {"L": "R", "R": "L"}[label[-1]] if label[-2:] in (".L", ".R") else label
        assert_allclose(here.joint(BODY, label) * [1, -1, 1], there.joint(BODY, other), atol=1e-9)


def wheel(radius: float) -> Body:
    """A wheel of many points about one bone, its axle along y."""
    a = np.linspace(0, 2 * np.pi, 1200, endpoint=False)
    rim = np.stack([radius * np.cos(a), np.zeros_like(a), radius * np.sin(a)], 1)
    n = len(rim)
    return Body(
        rim, np.zeros((0, 3), np.int32), np.zeros((1, 3)), (-1,), ("root",), np.zeros((n, 1), np.uint8), np.ones((n, 1), np.float32)
    )


@pytest.mark.parametrize("radius", [0.2, 0.5])
def test_a_wheel_rolls_its_arc_without_sliding(radius):
    """Rolling without slipping moves the axle by radius times angle (any mechanics textbook), less the few mm that count as touching."""
    turned = np.linspace(0, 200, 241)
    placed = Placed(ry(turned)[:, None], np.zeros((241, 1, 3)))
    shift = settle(wheel(radius), placed, 1 / 120)
    assert_allclose(shift[-1, 0], radius * np.radians(200), rtol=0.02)
    assert_allclose(shift[:, 2], radius - SINK, atol=1e-3)


def test_a_body_that_only_bends_above_its_feet_stays_on_its_spot():
    pose = standing(60)
    pose.spine = np.linspace(0, 80, 60)
    pose.place[:, 2] = 0.9  # dropped from above
    shift = settle(BODY, place_bones(BODY, pose), 1 / 120)
    assert_allclose(shift[:, :2], 0, atol=1e-9)
    assert_allclose(shift[:, 2], -0.28 - SINK, atol=1e-6)
