"""Bodies come out in the pose they were given."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from pipeline.landmarks.tuning.poses import SHARE, Kind, draw_pose, fitting_pose
from pipeline.landmarks.tuning.skeleton import FreeArm, Pose, ReachingArm, penetration, pose_body, rx, shortest_rotation


def angle(a, vertex, c) -> float:
    u, v = a - vertex, c - vertex
    return float(np.degrees(np.arccos(np.clip(u @ v / np.linalg.norm(u) / np.linalg.norm(v), -1, 1))))


@pytest.mark.parametrize("bend", [0.0, 35.0, 90.0, 145.0])
@pytest.mark.parametrize("side", ["L", "R"])
def test_knee_is_bent_as_posed_whatever_the_rest_pose_and_the_turn_of_the_body(bodies, bend, side):
    pose = Pose(root=Rotation.from_euler("xyz", [200, 30, -70], degrees=True).as_matrix(), knee=(bend, bend), hip=(40, 10), spine=30)
    posed = pose_body(bodies, 2, pose)
    got = angle(*(posed.joint(f"{b}.{side}") for b in ("upperleg01", "lowerleg01", "foot")))
    assert_allclose(got, 180 - bend, atol=0.02)


@pytest.mark.parametrize("bend", [0.0, 60.0, 120.0])
def test_elbow_is_bent_as_posed(bodies, bend):
    posed = pose_body(bodies, 0, Pose(arms=(FreeArm(100, 20, 10, bend),) * 2))
    for side in "LR":
        assert_allclose(angle(*(posed.joint(f"{b}.{side}") for b in ("upperarm01", "lowerarm01", "wrist"))), 180 - bend, atol=0.02)


def test_hip_flexion_swings_the_thigh_to_the_front_and_abduction_to_the_own_side(bodies):
    forward = pose_body(bodies, 1, Pose(hip=(90, 0)))
    thigh = forward.joint("lowerleg01.L") - forward.joint("upperleg01.L")
    assert thigh[1] < 0 and abs(thigh[2]) < 1e-6 * abs(thigh[1]) + 1e-6
    apart = pose_body(bodies, 1, Pose(abduction=(40, 40)))
    assert (
        apart.joint("lowerleg01.L")[0]
        > apart.joint("upperleg01.L")[0]
        > 0
        > apart.joint("upperleg01.R")[0]
        > apart.joint("lowerleg01.R")[0]
    )


def test_no_bone_changes_length(bodies):
    rng = np.random.default_rng(3)
    for kind in Kind:
        posed = fitting_pose(bodies, 3, kind, rng)[1]
        assert_allclose(
            np.einsum("nji,njk->nik", posed.rotation, posed.rotation), np.tile(np.eye(3), (len(posed.rotation), 1, 1)), atol=1e-9
        )
        for a, b in (("upperleg01.L", "lowerleg01.L"), ("lowerarm01.R", "wrist.R"), ("spine05", "spine01")):
            rest = np.linalg.norm(np.subtract(*(bodies.heads[3][bodies.index[j]] for j in (a, b))))
            got = np.linalg.norm(posed.joint(a) - posed.joint(b))
            assert got <= rest + 1e-9 if a == "spine05" else got == pytest.approx(rest)


def test_a_reaching_hand_arrives_where_it_can(bodies):
    target = np.array([0.2, -0.15, 0.75])
    arm = ReachingArm(lambda *_: target, lambda *_: np.array([1.0, 0, 0]), 0.0)
    posed = pose_body(bodies, 0, Pose(arms=(arm, FreeArm(0, 8, 0, 0))))
    assert_allclose(posed.joint("wrist.L"), target, atol=1e-6)


def test_shortest_rotation_carries_one_direction_into_the_other_also_when_opposite():
    rng = np.random.default_rng(0)
    for a, b in [*rng.normal(size=(20, 2, 3)), np.array([[1.0, 0, 0], [-1, 0, 0]]), np.array([[0, 0, 2.0], [0, 0, -1]])]:
        turned = shortest_rotation(a, b) @ (a / np.linalg.norm(a))
        assert_allclose(turned, b / np.linalg.norm(b), atol=1e-6)
        turn, _ = Rotation.align_vectors([b / np.linalg.norm(b)], [a / np.linalg.norm(a)])  # general library: the smallest one too
        assert turn.magnitude() == pytest.approx(Rotation.from_matrix(shortest_rotation(a, b)).magnitude(), abs=1e-6)


def test_an_arm_through_the_trunk_is_noticed_and_a_free_one_is_not(bodies):
    through = ReachingArm(lambda *_: np.array([-0.05, 0.0, 0.8]), lambda *_: np.array([1.0, 0, 0]), 0.0)
    assert penetration(pose_body(bodies, 0, Pose(arms=(through, FreeArm(0, 60, 0, 0))))) > 0.03
    assert penetration(pose_body(bodies, 0, Pose(arms=(FreeArm(0, 70, 0, 0),) * 2, abduction=(15, 15)))) < 0.012


def test_poses_repeat_with_their_seed_and_stay_within_reach(bodies):
    for kind in Kind:
        one, two = (draw_pose(bodies, 0, kind, np.random.default_rng(9)) for _ in range(2))
        assert one.knee == two.knee and np.array_equal(one.root, two.root)
    rng = np.random.default_rng(1)
    for _ in range(200):
        pose = draw_pose(bodies, 1, list(Kind)[int(rng.integers(6))], rng)
        assert all(-2 <= k <= 152 for k in pose.knee) and all(-35 <= h <= 150 for h in pose.hip)
    assert sum(SHARE.values()) == pytest.approx(1)


def test_tucks_are_drawn_at_every_pitch(bodies):
    rng = np.random.default_rng(2)
    up = np.array([draw_pose(bodies, 0, Kind.TUCK, rng).root @ np.array([0, 0, 1.0]) for _ in range(300)])
    pitch = np.degrees(np.arctan2(up[:, 1], up[:, 2])) % 360
    assert np.histogram(pitch, bins=6, range=(0, 360))[0].min() > 15
    assert_allclose(rx(90) @ np.array([0, 0, 1.0]), [0, -1, 0], atol=1e-12)  # positive pitch falls forward: the front is -y
