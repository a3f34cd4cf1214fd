"""Figures of made-up models whose errors are known."""

import json

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.errors import MatsideError
from pipeline.landmarks.crops import SIZE
from pipeline.landmarks.tuning.evaluate import angle_error, as_text, figures, moved
from pipeline.landmarks.tuning.rulers import Ruler, body_crop, picture_ruler


def leg(knee: float, *, mirrored: bool = False) -> np.ndarray:
    """(1, 33, 2) with a left leg whose knee is `knee` degrees, 180 straight, more than 180 bent the other way."""
    xy = np.zeros((1, 33, 2))
    xy[0, 23], xy[0, 25] = (128, 60), (128, 120)
    turn = np.radians(knee - 180)
    xy[0, 27] = xy[0, 25] + 50 * np.array([np.sin(turn), np.cos(turn)])
    if mirrored:
        xy[..., 0] = 256 - xy[..., 0]
    return xy


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(("got", "want", "error"), [(170, 160, 10), (150, 160, -10), (200, 190, -10), (185, 175, 10), (120, 100, 20)])
def test_angle_errors_are_positive_toward_open_and_do_not_fold_past_180(got, want, error, mirrored):
    value = angle_error(leg(got, mirrored=mirrored), leg(want, mirrored=mirrored), (23, 25, 27))
    if (got, want) == (185, 175):
        assert abs(value[0]) == pytest.approx(10)
    else:
        assert value[0] == pytest.approx(error)


def ruler(groups: list[str]) -> Ruler:
    n = len(groups)
    truth = np.tile(np.random.default_rng(1).uniform(60, 200, (33, 2)), (n, 1, 1))
    return Ruler(
        np.zeros((n, SIZE, SIZE, 3), np.uint8), truth, np.full(n, 50.0), np.array(groups), np.zeros(n, int), np.array(["a.mp4"] * n)
    )


def test_a_perfect_model_has_no_error_and_one_shifted_by_a_quarter_torso_is_never_within_a_fifth():
    r = ruler(["backward_roll", "shoulder_stand", "cartwheel", "lunge", "real 0", "real 0"])
    perfect = figures({"xy": r.truth, "presence": np.ones(6), "ms": np.array(1.0)}, r)
    assert perfect["roll tucked knee, near, median error"] == 0 and perfect["roll frames lost %"] == 0
    assert perfect["real 0 deg: all six within 0.2 torso %"] == 100 and perfect["real 0 deg: found %"] == 100
    shifted = figures({"xy": r.truth + np.array([12.5, 0]), "presence": np.full(6, 0.4), "ms": np.array(1.0)}, r)
    assert shifted["real 0 deg: knee within 0.2 torso %"] == 0 and shifted["real 0 deg: found %"] == 0
    assert shifted["roll frames lost %"] == 100  # presence below a half
    assert_allclose(shifted["cartwheel knee, bias (median)"], 0, atol=1e-9)  # a shift bends nothing


def test_moving_to_the_familys_marks_and_back_is_nothing_and_lifts_the_shoulders():
    r = ruler(["real 0"])
    there = moved(r.truth, r, to_family=True)
    trunk = r.truth[0, 11:13].mean(0) - r.truth[0, 23:25].mean(0)
    assert (there[0, 11] - r.truth[0, 11]) @ trunk > 0 > (there[0, 23] - r.truth[0, 23]) @ trunk  # shoulders up, hips down the trunk
    assert_allclose(moved(there, r, to_family=False), r.truth)


def test_presence_on_nobody_is_counted():
    r = ruler(["nobody"] * 4)
    out = figures({"xy": r.truth, "presence": np.array([0.1, 0.2, 0.9, 0.4]), "ms": np.array(1.0)}, r)
    assert out["nobody: called a person %"] == 25 and out["nobody: mean presence"] == pytest.approx(0.4)
    assert "| nobody: called a person % | 25.0 |" in as_text({"nobody: called a person %": {"full": 25.0}})


@pytest.mark.parametrize("turn", [0.0, 40.0, 180.0])
def test_a_body_crop_is_turned_against_the_torso_by_what_was_asked(turn):
    xy = np.random.default_rng(2).uniform(100, 300, (33, 2))
    crop = body_crop(xy, turn=turn)
    at = crop.to_crop(xy)
    assert_allclose(at[23:25].mean(0), (SIZE - 1) / 2, atol=1e-9)
    up = at[11:13].mean(0) - at[23:25].mean(0)
    assert np.degrees(np.arccos(-up[1] / np.linalg.norm(up))) == pytest.approx(turn, abs=1e-4)


def test_people_without_enough_keypoints_are_left_out_and_unlabelled_ones_are_gaps(tmp_path):
    import cv2

    cv2.imwrite(str(tmp_path / "a.jpg"), np.full((200, 200, 3), 90, np.uint8))
    points = np.zeros((17, 3))
    points[5:17, :2] = [
        [80, 60],
        [120, 60],
        [70, 90],
        [130, 90],
        [70, 120],
        [130, 120],
        [90, 120],
        [110, 120],
        [90, 150],
        [110, 150],
        [90, 185],
        [110, 185],
    ]
    points[5:17, 2] = 2
    points[7, 2] = 0  # an elbow nobody marked
    few = points.copy()
    few[13:, 2] = 0
    people = [
        {"image_id": 1, "num_keypoints": int((p[:, 2] > 0).sum()), "iscrowd": 0, "keypoints": p.ravel().tolist()} for p in (points, few)
    ]
    (tmp_path / "coco_keypoints.json").write_text(json.dumps({"images": [{"id": 1, "file_name": "a.jpg"}], "annotations": people}))
    made = picture_ruler(tmp_path, turns=(0, 180))
    assert list(made.group) == ["real 0", "real 180"]
    assert np.isnan(made.truth[0, 13]).all() and np.isfinite(made.truth[0, 14]).all() and np.isnan(made.truth[0, 1]).all()
    made.save(tmp_path / "r.npz")
    assert np.array_equal(Ruler.load(tmp_path / "r.npz").truth, made.truth, equal_nan=True)
    with pytest.raises(MatsideError, match="no ruler"):
        Ruler.load(tmp_path / "none.npz")
