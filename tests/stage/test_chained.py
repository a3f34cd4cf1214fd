"""Skills chained into a routine: no jump, no stretched bone, each going on where and whither the one before ended."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.stage.motions.chained import chained, cut
from pipeline.stage.motions.movement import Movement, Span, upright
from pipeline.stage.motions.steps import Step, quarter_turn, stepped, walked
from pipeline.stage.pose import Pose, place_bones
from pipeline.stage.timing import clock
from pipeline.stage.truths.geometry import facing
from pipeline.vocabulary import Side, Skill
from tests.stage.stick import SHANK, THIGH, stick_body

BODY = stick_body()
T = clock(2.0)


def standing(**angles: float) -> Pose:
    pose = Pose.standing(len(T))
    pose.root, pose.place = upright(np.zeros(len(T))), np.tile([0.0, 0.0, 0.62], (len(T), 1))
    for name, value in angles.items():
        pose.limbs[name.replace("_", ".")] += value
    return pose


def moved(heading: float = 0.0, **angles: float) -> Movement:
    span = Span(Skill.LUNGE, 0.5, 1.5, Side.LEFT, hold=(0.8, 1.2), lift=(0.5, 0.7))
    return Movement(T, place_bones(BODY, standing(**angles)), (span,), heading)


def joints(m: Movement, *names: str) -> np.ndarray:
    return np.stack([m.placed.joint(BODY, name) for name in names], 1)


LIMBS = ("wrist.L", "wrist.R", "lowerleg01.L", "foot.L", "foot.R", "head")


def test_the_second_skill_starts_from_the_firsts_last_pose_and_ends_in_its_own():
    both = chained([moved(arm_L=150, knee_R=10), moved(arm_R=60)], BODY, blend=0.4)
    where = joints(both, *LIMBS)
    assert np.abs(np.diff(where, axis=0)).max() < 0.042  # 150 degrees in 0.4 s: at most 1.875 * 6.5 rad/s * 0.37 m; a jump would be 0.6 m
    alone = joints(moved(arm_R=60), *LIMBS)[-1]
    shift = where[-1, LIMBS.index("foot.L")] - alone[LIMBS.index("foot.L")]
    assert_allclose(where[-1] - shift, alone, atol=1e-6)


def test_bones_keep_their_length_and_the_feet_the_floor_while_blending():
    both = chained([moved(arm_L=150, hip_L=30, knee_L=60), moved()], BODY, blend=0.5)
    hip, knee, foot = (joints(both, name)[:, 0] for name in ("upperleg01.L", "lowerleg01.L", "foot.L"))
    assert_allclose(np.linalg.norm(hip - knee, axis=1), THIGH, atol=1e-9)
    assert_allclose(np.linalg.norm(knee - foot, axis=1), SHANK, atol=1e-9)
    assert np.ptp(joints(both, "foot.R")[:, 0, 2]) < 0.02


@pytest.mark.parametrize("turn", [90.0, -90.0])
def test_a_turn_is_carried_on_into_the_next_skill(turn):
    both = chained([moved(heading=turn), moved()], BODY)
    looks = facing({f"{s}_hip": both.placed.joint(BODY, f"upperleg01.{s[0].upper()}") for s in ("left", "right")})
    assert looks[-1] - looks[0] == pytest.approx(turn)
    assert both.heading == turn


def test_spans_are_told_on_the_routines_clock_and_on_a_cut_ones():
    both = chained([moved(), moved(), moved()], BODY, blend=0.2)
    assert [s.start_s for s in both.spans] == pytest.approx([0.5, 2.5, 4.5])
    assert both.spans[2].hold == pytest.approx((4.8, 5.2)) and both.spans[1].lift == pytest.approx((2.5, 2.7))
    short = cut(moved(), 0.6, 1.4)
    assert short.t[0] == 0 and short.t[-1] == pytest.approx(0.8)
    assert (short.spans[0].start_s, short.spans[0].end_s) == pytest.approx((0, 0.8))
    assert short.spans[0].hold == pytest.approx((0.2, 0.6))


@pytest.mark.parametrize("feet", ["L", "LR", "LRL"])
def test_steps_put_the_feet_where_they_are_told_and_bring_the_body_along(feet):
    pose = standing()
    before = place_bones(BODY, pose)
    pins = stepped(BODY, pose, T, walked(feet, 0.5, (0.1, 0.0), seconds=0.3), 0.3)
    after = place_bones(BODY, pose, pins)
    far = {"L": 0.1 * ((len(feet) + 1) // 2), "R": 0.1 * (len(feet) // 2)}
    for s in "LR":
        gone = after.joint(BODY, f"foot.{s}")[-1] - before.joint(BODY, f"foot.{s}")[-1]
        assert gone[:2] == pytest.approx([far[s], 0], abs=1e-3)
    hips = after.joint(BODY, "root")[-1] - before.joint(BODY, "root")[-1]
    assert hips[0] == pytest.approx(0.5 * (far["L"] + far["R"]), abs=0.005)
    height = np.stack([after.joint(BODY, f"foot.{s}")[:, 2] for s in "LR"])
    assert height.max() > height[0, 0] + 0.03 and (height.min(axis=0) < height[0, 0] + 0.01).all()  # one foot carries


def test_a_quarter_turn_turns_the_body_on_the_spot():
    pose = standing()
    after = place_bones(BODY, pose, stepped(BODY, pose, T, quarter_turn("L", 0.5, 90), 0.3))
    hips = {f"{s}_hip": after.joint(BODY, f"upperleg01.{s[0].upper()}") for s in ("left", "right")}
    looks = facing(hips)
    assert looks[-1] - looks[0] == pytest.approx(90, abs=0.5)
    assert 0.5 * (hips["left_hip"] + hips["right_hip"])[-1, :2] == pytest.approx([0, 0], abs=0.005)


def test_a_step_of_another_foot_leaves_this_one():
    pose = standing()
    pins = stepped(BODY, pose, T, (Step("R", 0.5, 0.3, (0.0, -0.1)),), 0.3)
    after = place_bones(BODY, pose, pins)
    assert np.ptp(after.joint(BODY, "foot.L")[60:], axis=0).max() < 1e-3
