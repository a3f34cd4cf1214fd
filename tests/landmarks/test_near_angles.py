"""Angles of the near look: what points draw, mirrored bodies, means across a whole turn, and the head's file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import MatsideError
from pipeline.landmarks import models
from pipeline.landmarks.near import in_mirror
from pipeline.landmarks.near_angles import (
    ANGLES,
    BEYOND,
    COUNT,
    HIPS,
    STEP,
    AngleHead,
    angle_head,
    angles_by_points,
    as_unmirrored,
    known_by,
    middle_angles,
    told_angles,
)
from pipeline.landmarks.net import FEATURES, JOINTS
from pipeline.landmarks.track import INDEX, N
from tests.landmarks.heads import WIDTH, arrays, silu, written

NAN = np.nan


def body(**moved: tuple[float, float]) -> np.ndarray:
    """(33, 2) points of a body that stands straight, elbows 20 across and 20 down, one side behind the other; some joints elsewhere."""
    xy = np.full((N, 2), 128.0)
    for part, at in {"shoulder": (128, 88), "elbow": (148, 108), "hip": (128, 128), "knee": (128, 158), "ankle": (128, 188)}.items():
        for side in ("left", "right"):
            xy[INDEX[f"{side}_{part}"]] = at
    for name, at in moved.items():
        xy[INDEX[name]] = at
    return xy


def of(angles: np.ndarray, side: str) -> dict[str, float]:
    first = 0 if side == "left" else len(ANGLES)
    return dict(zip(ANGLES, angles[first : first + len(ANGLES)].round(6).tolist(), strict=True))


def off(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Degrees between angles."""
    return np.abs((a - b + 180) % 360 - 180)


def test_a_straight_body_is_180_at_hips_and_knees_and_its_arms_hang_at_45():
    straight = {"hip_to_ankle": 180, "hip_to_knee": 180, "knee": 180, "shoulder": 45}
    angles = angles_by_points(body())
    assert of(angles, "left") == straight and of(angles, "right") == straight and len(angles) == COUNT


def test_angles_are_those_of_their_own_side_and_hips_are_counted_clockwise_from_the_trunk():
    """The left thigh comes forward to the picture's right, its shank hangs; the right leg is stretched out to the picture's left."""
    seen = angles_by_points(body(left_knee=(158, 128), left_ankle=(158, 158), right_knee=(98, 128), right_ankle=(68, 128)))
    assert of(seen, "left") == {"hip_to_ankle": 135, "hip_to_knee": 90, "knee": 90, "shoulder": 45}
    assert of(seen, "right") == {"hip_to_ankle": 270, "hip_to_knee": 270, "knee": 180, "shoulder": 45}


def test_shoulders_are_counted_0_to_180_to_either_side():
    seen = angles_by_points(body(left_elbow=(148, 88), right_elbow=(108, 68)))
    assert of(seen, "left")["shoulder"] == 90 and of(seen, "right")["shoulder"] == 135


def test_the_trunk_runs_between_the_middles():
    """Hips apart and shoulders apart, but their middles upright: both thighs straight down are straight."""
    xy = body(left_hip=(138, 124), right_hip=(118, 132), left_knee=(138, 154), right_knee=(118, 162), left_shoulder=(120, 80))
    xy[INDEX["right_shoulder"]] = (136, 96)
    assert [of(angles_by_points(xy), side)["hip_to_knee"] for side in ("left", "right")] == [180, 180]


def test_angles_turn_and_grow_with_nothing():
    xy = np.random.default_rng(0).uniform(0, 256, (N, 2))
    c, s = np.cos(1.1), np.sin(1.1)
    moved = 1.7 * xy @ np.array([[c, s], [-s, c]]) + [5.0, -9.0]
    assert off(angles_by_points(moved), angles_by_points(xy)).max() < 1e-9


def test_a_mirrored_body_s_angles_come_back_to_its_own():
    for seed in range(5):
        xy = np.random.default_rng(seed).uniform(0, 256, (N, 2))
        mirrored = angles_by_points(in_mirror(xy))
        assert off(mirrored, angles_by_points(xy)).max() > 20, "the sides of such a body are unlike"
        assert off(as_unmirrored(mirrored), angles_by_points(xy)).max() < 1e-9
    assert as_unmirrored(np.arange(8.0)).tolist() == [356, 355, 6, 7, 360, 359, 2, 3]
    told = np.array([10.0, NAN, 30, 40, 50, 60, NAN, 80])
    np.testing.assert_array_equal(np.isnan(as_unmirrored(told)), np.roll(np.isnan(told), 4))


def test_a_mirrored_look_tells_the_same_where_the_head_adds_nothing_or_as_much_to_the_other_side(tmp_path):
    xy, features = np.random.default_rng(7).uniform(60, 200, (N, 2)), np.zeros(FEATURES)
    still = AngleHead(written(tmp_path / "still.npz"))
    plain = told_angles(still, xy, features, mirrored=False)
    assert off(plain, angles_by_points(xy)).max() < 1e-6
    assert off(told_angles(still, in_mirror(xy), features, mirrored=True), plain).max() < 1e-6
    steps = np.array([0.5, -0.3, 0.8, 0.2, 0.1, 0.7, -0.4, 0.6])
    other = np.roll(steps, 4)
    other[list(HIPS)] *= -1
    features[0] = 1.0
    adds, mirrored = (AngleHead(written(tmp_path / f"{k}.npz", where_first_is_one=v)) for k, v in enumerate((steps, other)))
    more = told_angles(adds, xy, features, mirrored=False)
    assert (more - plain) == pytest.approx(STEP * steps, abs=1e-4)
    assert off(told_angles(mirrored, in_mirror(xy), features, mirrored=True), more).max() < 1e-4


def test_the_head_is_given_features_then_the_shape_in_trunks_from_the_hips():
    given = []

    def head(x):
        given.append(x)
        return np.zeros(COUNT)

    xy, features = body(left_knee=(168, 138)), np.arange(float(FEATURES))
    told_angles(head, xy, features, mirrored=False)
    assert (given[0][:FEATURES] == features).all() and len(given[0]) == WIDTH
    shape = given[0][FEATURES:].reshape(-1, 2)
    assert shape[JOINTS.index(INDEX["left_knee"])] == pytest.approx([1.0, 0.25])
    assert shape[JOINTS.index(INDEX["right_shoulder"])] == pytest.approx([0.0, -1.0])
    told_angles(head, (xy - 128) / 40 + 128, features, mirrored=False)  # a trunk of one pixel counts as eight
    assert given[1][FEATURES:].reshape(-1, 2)[JOINTS.index(INDEX["left_knee"])] == pytest.approx([0.125, 0.03125])


def test_the_mean_is_taken_across_a_whole_turn_and_of_the_looks_that_tell():
    each = np.tile(np.arange(10.0, 90, 10), (2, 1))
    each[:, 0], each[:, 1], each[:, 2] = (358, 6), (2, 350), (NAN, 33)
    each[:, 3], each[:, 4], each[:, 5] = (44, NAN), (NAN, NAN), (170, 190)
    np.testing.assert_allclose(middle_angles(each), [2, 356, 33, 44, NAN, 180, 70, 80], rtol=0, atol=1e-9)
    three = np.tile([[359.0], [2.0], [5.0]], (1, COUNT))
    np.testing.assert_allclose(middle_angles(three), np.full(COUNT, 2.0), atol=1e-9)
    assert middle_angles(three[:1]).tolist() == [359.0] * COUNT
    assert np.isnan(middle_angles(np.full((2, COUNT), NAN))).all()
    each[:, 0], each[:, 1], each[:, 2] = (np.inf, 20), (np.inf, NAN), (np.inf, np.inf)
    assert middle_angles(each)[:3].tolist() == [20, np.inf, np.inf], "seen elsewhere, unless a look tells"


@pytest.mark.parametrize(
    ("lacking", "unknown"),
    [
        ("left_ankle", [0, 2]),
        ("left_knee", [1, 2]),
        ("right_elbow", [7]),
        ("right_hip", [0, 1, 4, 5, 6, 7]),  # no trunk; the left knee and shoulder are known
        ("left_shoulder", [0, 1, 3, 4, 5]),
        ("nose", []),
    ],
)
def test_an_angle_is_known_where_all_its_points_are(lacking, unknown):
    points = np.ones(N, dtype=bool)
    points[INDEX[lacking]] = False
    assert np.flatnonzero(~known_by(points)).tolist() == unknown


def test_the_head_s_word_is_its_layers_sums_in_steps(tmp_path):
    content = arrays()
    content["mean"][0], content["deviation"][0] = 3.0, 2.0
    content["weight_0"][1, 0], content["bias_0"][1], content["weight_1"][2, 1], content["bias_1"][2] = 0.5, 0.25, 2.0, -1.0
    content["weight_2"][6, 2], content["bias_2"][1] = 0.75, 0.1
    np.savez(tmp_path / "head.npz", **content)
    head, x = AngleHead(tmp_path / "head.npz"), np.zeros(WIDTH)
    for value, deviations in ((6.0, 1.5), (3.0 + 2 * BEYOND, BEYOND), (99.0, BEYOND), (-99.0, -BEYOND)):
        x[0] = value
        wanted = np.zeros(COUNT)
        wanted[1], wanted[6] = STEP * 0.1, STEP * 0.75 * silu(2.0 * silu(0.5 * deviations + 0.25) - 1.0)
        assert head(x) == pytest.approx(wanted, abs=1e-5)


def broken(kind: str, whole: Path) -> None:
    """Make of a head's file what the kind says."""
    with np.load(whole) as kept:
        content = dict(kept)
    if kind == "absent":
        whole.unlink()
    elif kind in ("text", "empty", "half"):
        content = whole.read_bytes()
        whole.write_bytes({"text": b"no head", "empty": b"", "half": content[: len(content) // 2]}[kind])
    else:
        other = {"short": {"mean": content["mean"][:-1]}, "narrow": {"bias_2": np.zeros(COUNT - 1)}, "lacking": {}}[kind]
        np.savez(whole, **{name: value for name, value in (content | other).items() if (kind, name) != ("lacking", "weight_1")})


@pytest.mark.parametrize("kind", ["absent", "text", "empty", "half", "short", "narrow", "lacking"])
def test_a_missing_or_broken_file_is_said_in_one_line(tmp_path, kind):
    file = written(tmp_path / "head.npz")
    broken(kind, file)
    with pytest.raises(MatsideError, match="not the angle head of the near look") as error:
        AngleHead(file)
    said = str(error.value)
    assert said.startswith(str(file)) and "\n" not in said and said.endswith("Install Matside again.")


def test_the_head_that_ships_is_read_once_and_adds_a_few_degrees():
    file = models.HERE / models.NEAR_ANGLES
    head = angle_head(file)
    assert angle_head(file) is head
    with np.load(file) as kept:
        usual = kept["mean"]
    assert 0 < np.abs(head(usual)).max() < 15
