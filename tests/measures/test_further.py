"""The further details on stick athletes whose answers are known before the code runs: steps, sway, hands, head, turns, lifts."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.find import find_attempts
from pipeline.landmarks.track import INDEX, Track
from pipeline.measures.look import FOCAL
from pipeline.measures.measure import measure_attempt
from pipeline.measures.roll_finish import path, path_without_jitter
from pipeline.measures.roll_hands import alone
from pipeline.measures.uncertainty import Known
from pipeline.vocabulary import COUNTS, Setting, Side, Skill
from tests.measures import bodies
from tests.measures.bodies import STAND, Motion, film
from tests.measures.stick import Pose, blend, on_floor, skeleton
from tests.measures.told import LEG, NO_MODEL_ERROR, UNBIASED, deep, read, stood

# ------------------------------------------------------------------ loaded lunge


@pytest.mark.parametrize("turned", [0.0, 180.0])
@pytest.mark.parametrize(("knee", "lean"), [(110.0, 5.0), (130.0, 20.0), (150.0, 40.0)])
def test_a_loaded_lunge_reads_as_it_was_built(turned: float, knee: float, lean: float) -> None:
    track = film(bodies.lunge(hip=215.0 - lean, knee=knee, shoulder=165.0), turned=turned)
    got = read(track, Skill.LOADED_LUNGE, direction=1 if turned == 0 else -1, end_s=3.4, key_start_s=1.7, key_end_s=2.5)
    assert got["knee_angle"].value == pytest.approx(knee, abs=1.0)
    assert got["lean_angle"].value == pytest.approx(lean, abs=1.5)
    assert got["arms_by_ears"].value == pytest.approx(15.0, abs=1.0)


# ------------------------------------------------------------------ cartwheel


@pytest.mark.parametrize("lead", ["left", "right"])
def test_a_cartwheels_shape_and_hands(lead: str) -> None:
    motion = bodies.cartwheel(lead=lead)
    track = film(motion, turned=-90.0)
    (attempt,) = find_attempts(track)
    readings = {(r.detail, str(r.side)): r for r in measure_attempt(track, attempt, table=UNBIASED)[0]}
    assert readings["legs_apart", ""].value == pytest.approx(90.0, abs=2.0)  # built with each leg 45 degrees out
    tips = motion.joints[:, [INDEX["left_index"], INDEX["right_index"]], 2]
    touches = sorted(float(motion.t[np.flatnonzero(tips[:, k] < 0.04)[0]]) for k in (0, 1))
    assert readings["hands_in_turn", ""].value == pytest.approx(touches[1] - touches[0], abs=0.04)
    unseen = readings["head_to_hands", ""]
    assert np.isnan(unseen.value) and "face" in unseen.reason
    turned_in = readings["hand_turned_in", ""]
    assert np.isnan(turned_in.value) and "too small" in turned_in.reason


def filmed_near(joints: np.ndarray, t: np.ndarray, *, away: float = 4.0, held: float = 1.1) -> Track:
    """Joints (forward, left, up) facing a level phone `away` metres off and `held` metres high, in perspective."""
    focal = FOCAL * 1280
    depth = away - joints[..., 0]
    xy = np.stack([640 + focal * joints[..., 1] / depth, 360 + focal * (held - joints[..., 2]) / depth], axis=-1)
    ones = np.ones(joints.shape[:2])
    return Track(t, xy, 0 * ones, ones, np.ones(len(t)), 0 * ones, (1280, 720), "near.mp4")


@pytest.mark.parametrize("off", [-30.0, 0.0, 20.0, 45.0])
def test_hands_off_the_line_are_seen_by_how_high_they_lie_in_the_picture(off: float) -> None:
    motion = stood(2.4)
    joints = motion.joints.copy()
    spots = {"right": (0.45 * np.tan(np.radians(off)), -0.2), "left": (0.0, 0.25)}
    for side, touch in (("left", 0.6), ("right", 0.85)):
        down = (motion.t > touch) & (motion.t < touch + 0.6)
        for part in ("wrist", "pinky", "index"):
            joints[:, INDEX[f"{side}_{part}"], 2] = np.where(down, 0.03, 0.9)
            joints[:, INDEX[f"{side}_{part}"], :2] = spots[side]
    track = filmed_near(joints, motion.t)
    got = read(track, Skill.CARTWHEEL, key_start_s=0.6, key_end_s=1.5, hand1_s=0.6, hand2_s=0.85)
    assert got["hands_in_turn"].value == pytest.approx(0.25, abs=0.04)
    assert got["hands_in_line"].low <= abs(off) <= got["hands_in_line"].high
    assert got["hands_in_line"].value == pytest.approx(
        abs(off), abs=16.0
    )  # what jitter alone would look like is taken off, and hands rest on the floor that is found


# ------------------------------------------------------------------ steps


def stepping(steps: list[tuple[str, float, float]], *, apart: float = 0.0, seconds: float = 4.0) -> Motion:
    """Stand with the feet `apart` legs further than the hips; each step (side, start, legs along the picture) takes 0.3 s."""
    motion = stood(seconds)
    joints = motion.joints.copy()
    for side, sign in (("left", 1.0), ("right", -1.0)):
        foot = [INDEX[f"{side}_{part}"] for part in ("ankle", "heel", "foot_index")]
        joints[:, foot, 1] += sign * 0.5 * apart * LEG
        for of, start, far in steps:
            if of == side:
                s = np.clip((motion.t - start) / 0.3, 0, 1)
                joints[:, foot, 1] += (far * LEG * s * s * (3 - 2 * s))[:, None]
                joints[:, foot, 2] += (0.05 * 4 * s * (1 - s))[:, None]
    return replace(motion, joints=joints)


@pytest.mark.parametrize("noise", [0.0, 1.5])
@pytest.mark.parametrize(("steps", "apart", "wanted"), [
    ([], 0.0, 0), ([("left", 1.0, 0.3)], 0.0, 1), ([("left", 1.0, -0.3), ("right", 1.36, -0.3)], 0.0, 2),
    ([("left", 1.0, -0.35)], 0.4, 0), ([("left", 1.0, -0.35), ("right", 1.36, -0.3)], 0.4, 1), ([], 0.4, 0),
    ([("left", 1.0, 0.3), ("right", 1.36, 0.3), ("left", 1.72, 0.3)], 0.0, 3),
])  # fmt: skip
def test_steps_after_a_cartwheel_beyond_the_one_that_closes_the_feet(steps, apart, wanted, noise) -> None:
    track = film(stepping(steps, apart=apart), turned=-90.0, noise=noise)
    got = read(track, Skill.CARTWHEEL, foot1_s=0.3, foot2_s=0.7, hand1_s=0.1, hand2_s=0.2)["step_together"]
    assert got.value == wanted and got.low <= wanted <= got.high
    assert got.value == int(got.value) and got.unit in COUNTS


def test_where_the_feet_are_not_seen_as_they_come_down_it_is_open_whether_one_closes_them() -> None:
    track = film(stepping([("left", 1.0, -0.35)], apart=0.4), turned=-90.0)
    xy = track.xy.copy()
    xy[(track.t >= 0.68) & (track.t < 0.86)] = np.nan
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a mean of nothing
        got = read(replace(track, xy=xy), Skill.CARTWHEEL, foot1_s=0.3, foot2_s=0.7, hand1_s=0.1, hand2_s=0.2)["step_together"]
    assert got.low == 0 and got.high >= 1


def test_a_heel_that_sinks_and_a_foot_that_slides_a_little_are_no_steps() -> None:
    motion = stood(3.0)
    joints = motion.joints.copy()
    s = np.clip((motion.t - 1.0) / 0.3, 0, 1)
    joints[:, INDEX["left_heel"], 0] -= 0.12 * LEG * s
    joints[:, INDEX["right_heel"], 0] += 0.04 * LEG * s
    joints[:, INDEX["right_foot_index"], 0] += 0.04 * LEG * s
    got = read(film(replace(motion, joints=joints)), Skill.BACKWARD_ROLL, feet_s=0.6, standing_s=0.7)["extra_steps"]
    assert got.value == 0 and got.low == 0


def test_a_clip_that_ends_in_the_middle_of_a_step_cannot_tell_how_many_there_were() -> None:
    track = film(stepping([("left", 0.9, 0.4)], seconds=1.1), turned=-90.0)
    got = read(track, Skill.CARTWHEEL, foot1_s=0.3, foot2_s=0.7)["step_together"]
    assert np.isnan(got.value) and "ends too soon" in got.reason


# ------------------------------------------------------------------ standing


def test_legs_one_behind_the_other_are_not_told_apart_and_scissored_ones_are() -> None:
    held = replace(Pose(trunk=-168.0, ankle=150.0).both(arm=30), left_elbow=110, right_elbow=110)
    together = film(stood(3.0, pose=held))
    got = read(together, Skill.SHOULDER_STAND, key_start_s=0.5, key_end_s=2.5)["legs_together"]
    assert np.isnan(got.value) and "from her head or her feet" in got.reason
    apart = film(stood(3.0, pose=replace(held, left_hip=15.0, right_hip=-5.0)))
    got = read(apart, Skill.SHOULDER_STAND, key_start_s=0.5, key_end_s=2.5)["legs_together"]
    assert got.value == pytest.approx(20.0, abs=1.0) and got.low <= 20.0 <= got.high


@pytest.mark.parametrize("noise", [0.0, 1.0, 2.0])
def test_sway_is_the_path_without_the_jitter(noise: float) -> None:
    """x = A sin(2 pi f t) travels 4 A f a second; the look around each moment lets through nearly all of 1 Hz."""
    motion = stood(2.6)
    far, often = 0.02 * LEG, 1.0
    joints = motion.joints.copy()
    feet = [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("ankle", "heel", "foot_index")]
    rest = np.setdiff1d(np.arange(33), feet)
    joints[:, rest, 0] += far * np.sin(2 * np.pi * often * motion.t)[:, None]
    track = film(replace(motion, joints=joints), noise=noise, rng=np.random.default_rng(3))
    got = read(track, Skill.BACKWARD_ROLL, standing_s=1.0, feet_s=0.5)["standing_sway"]
    true = 100 * 4 * 0.02 * often
    assert got.low <= true <= got.high
    assert got.value == pytest.approx(true, abs=0.5 + 1.2 * noise)


def test_jitter_alone_is_no_sway() -> None:
    t = np.arange(0, 1, 1 / 30)
    found, plain = [], []
    for seed in range(12):
        along = np.random.default_rng(seed).standard_normal(len(t))
        found.append(path_without_jitter(t, along, np.random.default_rng(99))[0])
        plain.append(path(t, along))
    assert np.median(found) < 0.5 * np.median(plain)


def test_a_clip_without_a_second_of_standing_has_no_sway() -> None:
    got = read(film(stood(1.5)), Skill.BACKWARD_ROLL, standing_s=1.0, feet_s=0.5)["standing_sway"]
    assert np.isnan(got.value) and "stood for two seconds" in got.reason


# ------------------------------------------------------------------ hands and head


def test_a_turned_head_is_left_open_with_a_word_on_how_to_film_it() -> None:
    got = read(film(stood(3.0)), Skill.BACKWARD_ROLL, hands_s=0.5, over_s=0.7, feet_s=1.0, standing_s=1.5)["head_turn"]
    assert np.isnan(got.value) and "along the mat" in got.reason


def test_seconds_on_one_hand_alone() -> None:
    t = np.arange(0, 1, 0.01)
    heights = np.stack([np.where(t < 0.30, 1.0, 0.0), np.where(t < 0.55, 1.0, 0.0)], axis=1)
    assert alone(t, heights, 0.16) == pytest.approx(0.25, abs=0.011)
    assert alone(t, heights[:, :1].repeat(2, axis=1), 0.16) == 0.0


@pytest.mark.parametrize(("on_floor_hands", "wanted"), [((), 0), (("left",), 1), (("left", "right"), 2)])
def test_hands_used_to_rise(on_floor_hands, wanted) -> None:
    squat = Pose(trunk=25).both(hip=115, knee=135, arm=80)
    t = np.arange(0, 3.0, 1 / 30)
    joints = on_floor(np.stack([skeleton(p) for p in blend([0.8, 1.6], [squat, STAND], t)]))
    for side in on_floor_hands:
        for part in ("wrist", "pinky", "index", "thumb"):
            joints[(t > 0.5) & (t < 0.9), INDEX[f"{side}_{part}"], 2] = 0.02
    got = read(film(Motion(t, joints)), Skill.SHOULDER_STAND, feet_s=0.3, rise_s=0.8, standing_s=1.7, finish_s=2.2)["rise_hands_used"]
    assert got.value == wanted and got.low <= wanted <= got.high <= 2


@pytest.mark.parametrize("lead", [Side.LEFT, Side.RIGHT])
@pytest.mark.parametrize("degrees", [-90.0, -40.0, 0.0, 45.0, 90.0])
@pytest.mark.parametrize("direction", [1, -1])
def test_the_side_she_finishes_on_counts_towards_her_lead_side(lead, degrees, direction) -> None:
    """Turned by some degrees to her own left after rising; the lead side says what that is worth."""
    motion = stood(6.0)
    a = np.radians(degrees) * np.clip((motion.t - 4.4) / 0.5, 0, 1)
    x, y, up = np.moveaxis(motion.joints, -1, 0)
    joints = np.stack([x * np.cos(a)[:, None] - y * np.sin(a)[:, None], x * np.sin(a)[:, None] + y * np.cos(a)[:, None], up], axis=-1)
    track = deep(film(replace(motion, joints=joints), turned=0.0 if direction > 0 else 180.0))
    got = read(track, Skill.SHOULDER_STAND, direction=direction, lead=lead, feet_s=3.6, rise_s=3.8, standing_s=4.0, finish_s=5.4)[
        "finish_side"
    ]
    true = degrees if lead is Side.LEFT else -degrees
    assert got.value == pytest.approx(true, abs=8.0) and got.low <= true <= got.high


def test_a_joint_astray_for_a_while_turns_nothing() -> None:
    """At the end two frames in five have one shoulder right before the other: that line by itself says a quarter turn."""
    moments = {"feet_s": 3.6, "rise_s": 3.8, "standing_s": 4.0, "finish_s": 5.4}
    track = deep(film(stood(6.0)))
    astray = (track.t > 5.0) & (np.arange(len(track.t)) % 5 < 2)
    left, right = INDEX["left_shoulder"], INDEX["right_shoulder"]
    xy, z = track.xy.copy(), track.z.copy()
    across = np.abs(z[astray, left] - z[astray, right]) / 3
    xy[astray, left, 0] += across
    z[astray, left] = z[astray, right]
    whole, part = (read(one, Skill.SHOULDER_STAND, lead=Side.LEFT, **moments)["finish_side"] for one in (track, replace(track, xy=xy, z=z)))
    assert part.value == pytest.approx(whole.value, abs=1.0) and whole.value == pytest.approx(0.0, abs=8.0)


def test_without_a_lead_side_no_side_is_right() -> None:
    got = read(film(stood(6.0)), Skill.SHOULDER_STAND, lead=Side.NONE, feet_s=3.6, rise_s=3.8, standing_s=4.0, finish_s=5.4)["finish_side"]
    assert np.isnan(got.value) and "roster" in got.reason


def test_counts_widen_by_whole_numbers() -> None:
    track = film(stepping([("left", 1.0, 0.3)]), turned=-90.0)
    attempt = Attempt(Skill.CARTWHEEL, 1, 0.0, 4.0, 0.1, 0.3, 1, Side.LEFT, Setting.ALONE, 1.0, moments={"foot1_s": 0.3, "foot2_s": 0.7})
    for sd, low, high in ((1e-6, 1, 1), (0.3, 1, 1), (0.5, 0, 2)):
        table = {**NO_MODEL_ERROR, (Skill.CARTWHEEL, "step_together"): Known(0.0, sd, 1.96, 5)}
        got = next(r for r in measure_attempt(track, attempt, table=table)[0] if r.detail == "step_together")
        assert (got.value, got.low, got.high) == (1, low, high)
