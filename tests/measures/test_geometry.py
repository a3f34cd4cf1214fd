"""Angles against bodies built with them, against scipy, and against a handbook's zero positions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis.strategies import floats, integers
from numpy.testing import assert_allclose
from scipy.spatial.distance import cosine
from scipy.spatial.transform import Rotation

from pipeline.geometry import angle_to, joint_angle, length, middle, offset_from_chord, signed_angle, turn


def draw_leg(knee_deg: float, *, thigh: float = 1.0, shank: float = 0.8, forward: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Hip, knee, ankle in the picture (y down) of a leg hanging down, its knee bent so that the shank goes back. Unequal on purpose."""
    bend = np.radians(180.0 - knee_deg)
    hip, knee = np.array([0.0, 0.0]), np.array([0.0, thigh])
    return hip, knee, knee + shank * np.array([-forward * np.sin(bend), np.cos(bend)])


def view(
    points: tuple[np.ndarray, ...], turned: float, zoom: float, mirror: bool = False, shift: tuple[float, float] = (3.0, -7.0)
) -> list[np.ndarray]:
    a = np.radians(turned)
    r = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) @ np.diag([-1.0 if mirror else 1.0, 1.0])
    return [zoom * (r @ p) + shift for p in points]


@pytest.mark.parametrize("built", [0.0, 1e-6, 30.0, 90.0, 135.0, 179.999999, 180.0])
def test_angle_is_the_one_the_leg_was_built_with(built: float) -> None:
    assert_allclose(joint_angle(*draw_leg(built)), built, atol=1e-6)


@given(built=floats(0, 180), turned=floats(-180, 180), zoom=floats(0.01, 1000), mirror=integers(0, 1))
def test_turning_zooming_or_mirroring_the_picture_changes_no_angle(built: float, turned: float, zoom: float, mirror: int) -> None:
    assert_allclose(joint_angle(*view(draw_leg(built), turned, zoom, bool(mirror))), built, atol=1e-4)


@given(built=floats(5, 355), turned=floats(-180, 180), zoom=floats(0.01, 1000))
def test_a_signed_angle_survives_a_turn_and_a_mirror_together_with_its_facing(built: float, turned: float, zoom: float) -> None:
    a = np.radians(built)
    shoulder, hip, knee = np.array([0.0, -1.3]), np.zeros(2), 0.7 * np.array([np.sin(a), -np.cos(a)])  # round the front, facing right
    assert_allclose(signed_angle(*view((shoulder, hip, knee), turned, zoom), facing=1), built, atol=1e-4)
    assert_allclose(signed_angle(*view((shoulder, hip, knee), turned, zoom, mirror=True), facing=-1), built, atol=1e-4)
    assert_allclose(signed_angle(*view((shoulder, hip, knee), turned, zoom, mirror=True), facing=1), 360.0 - built, atol=1e-4)


@given(seed=integers(0, 2**32 - 1), dims=integers(2, 3))
def test_angles_agree_with_scipys_cosine_distance(seed: int, dims: int) -> None:
    a, v, c = np.random.default_rng(seed).normal(size=(3, dims))
    assert_allclose(joint_angle(a, v, c), np.degrees(np.arccos(np.clip(1 - cosine(a - v, c - v), -1, 1))), atol=1e-5)


@given(degrees=floats(-179.9, 179.9), seed=integers(0, 2**32 - 1))
def test_turns_agree_with_scipys_rotations(degrees: float, seed: int) -> None:
    u = np.random.default_rng(seed).normal(size=2)
    v = Rotation.from_euler("z", degrees, degrees=True).apply([*u, 0.0])[:2]  # y down: a positive turn is clockwise on the screen
    assert_allclose(turn(u, v), degrees, atol=1e-6)


# Zero positions and normal end ranges in the goniometer's words. Source: Norkin & White, Measurement of Joint Motion: A Guide to
# Goniometry (5th ed., 2016) and the AAOS ranges quoted there: hip flexion 0-120, extension 0-20 (AAOS 0-30), knee flexion 0-135 (AAOS), shoulder
# flexion 0-180. From memory. The fold from straight is what a goniometer calls flexion: knee 180 - angle, hip 180 - signed angle.
@pytest.mark.parametrize(
    ("flexion", "expected"),
    [(0.0, 180.0), (120.0, 60.0), (-20.0, 200.0), (-30.0, 210.0)],
    ids=["anatomical zero", "full hip flexion", "hip extension", "AAOS hip extension"],
)
@pytest.mark.parametrize("facing", [1, -1])
def test_hip_zero_and_normal_range_read_as_a_goniometer_does(flexion: float, expected: float, facing: int) -> None:
    a = np.radians(flexion)
    shoulder, hip, knee = np.array([0.0, -1.0]), np.zeros(2), np.array([facing * np.sin(a), np.cos(a)])
    assert_allclose(signed_angle(shoulder, hip, knee, facing), expected, atol=1e-9)


@pytest.mark.parametrize(("flexion", "expected"), [(0.0, 180.0), (135.0, 45.0)], ids=["anatomical zero", "AAOS full knee flexion"])
def test_knee_zero_and_normal_range_read_as_a_goniometer_does(flexion: float, expected: float) -> None:
    assert_allclose(joint_angle(*draw_leg(180.0 - flexion)), expected, atol=1e-9)


def test_shoulder_is_zero_hanging_and_180_overhead() -> None:
    hip, shoulder = np.array([0.0, 1.0]), np.zeros(2)
    assert_allclose(joint_angle(np.array([0.0, 0.6]), shoulder, hip), 0.0, atol=1e-9)
    assert_allclose(joint_angle(np.array([0.0, -0.6]), shoulder, hip), 180.0, atol=1e-9)


def test_gaps_and_points_on_the_vertex_give_nan_and_spare_their_neighbours() -> None:
    a = np.array([[1.0, 0], [np.nan, 0], [0, 0], [1, 0]])
    got = joint_angle(a, np.zeros((4, 2)), np.array([[0.0, 1]] * 4))
    assert_allclose(got, [90, np.nan, np.nan, 90])
    assert np.isnan(signed_angle(a, np.zeros((4, 2)), np.array([[0.0, 1]] * 4), 1)).tolist() == [False, True, True, False]
    assert joint_angle(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 2))).shape == (0,)


@given(x=floats(-5, 5), y=floats(-5, 5), turned=floats(-180, 180), zoom=floats(0.1, 100))
def test_offset_from_a_chord_is_a_share_of_it_wherever_it_lies(x: float, y: float, turned: float, zoom: float) -> None:
    start, end, point = np.array([0.0, 0.0]), np.array([2.0, 0.0]), np.array([x, y])
    got = offset_from_chord(*(view((p,), turned, zoom)[0] for p in (point, start, end)))
    assert_allclose(got, y / 2.0, atol=1e-6)


def test_a_chord_without_length_has_no_offset() -> None:
    assert np.isnan(offset_from_chord(np.ones(2), np.zeros(2), np.zeros(2)))


def test_lengths_middles_and_angles_to_a_direction() -> None:
    assert length(np.array([1.0, 1.0]), np.array([4.0, 5.0])) == 5.0
    assert_allclose(middle(np.array([[0.0, 0]]), np.array([[np.nan, np.nan]])), [[0, 0]])
    assert_allclose(angle_to(np.array([[0.0, -2], [1, 0], [0, 3]]), np.array([0.0, -1])), [0, 90, 180], atol=1e-9)
