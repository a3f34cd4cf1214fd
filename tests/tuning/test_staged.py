"""Crops of the benchmark's renderer as training takes them: points where the joints are, and nothing said of what is not known."""

import numpy as np
import pytest

from pipeline.bench.staged_crops import label
from pipeline.errors import MatsideError
from pipeline.landmarks.crops import Crop, cut
from pipeline.landmarks.tuning.labels import JOINTS, LABEL, as_matrix, split
from pipeline.landmarks.tuning.staged import Staged, write

FOCAL = 500.0


def standing() -> tuple[np.ndarray, np.ndarray]:
    """33 points of a flat figure 4 m ahead of a phone, in its axes, and their pixels in a 640 x 480 picture."""
    seen = np.random.default_rng(3).uniform(-0.3, 0.3, (33, 3)) + np.array([0.2, 0.1, 4.0])
    seen[[11, 12]], seen[[23, 24]] = [[0.1, -0.3, 4.0], [0.3, -0.3, 4.0]], [[0.15, 0.2, 4.0], [0.25, 0.2, 4.0]]
    return seen, seen[:, :2] / seen[:, 2:] * FOCAL + [320, 240]


def test_points_are_where_the_crop_shows_them():
    seen, flat = standing()
    crop = Crop(340.0, 250.0, 180.0, 0.4)
    row = label(seen, flat, crop, FOCAL, (640, 480))
    picture = np.zeros((480, 640, 3), np.uint8)
    x, y = np.floor(flat[25]).astype(int)
    picture[y - 1 : y + 2, x - 1 : x + 2] = 255
    spot = np.argwhere(cut(picture, crop)[:, :, 0] > 128).mean(0)[::-1] + 0.5
    assert np.linalg.norm(spot - row["xy"][25]) < 1.2
    assert row["tilt"] == pytest.approx(np.degrees(0.4), abs=0.5) and row["person"] == 1


def test_what_stands_in_space_is_turned_with_the_crop_and_scaled_like_the_picture():
    seen, flat = standing()
    row = label(seen, flat, Crop(340.0, 250.0, 180.0, np.pi / 2), FOCAL, (640, 480))
    hips, shoulders = row["world"][[23, 24]].mean(0), row["world"][[11, 12]].mean(0)
    np.testing.assert_allclose(hips, 0, atol=1e-6)
    np.testing.assert_allclose(
        shoulders, [-0.5, 0, 0], atol=1e-6
    )  # the crop's "up" points to the picture's right: the trunk lies to its left
    assert row["torso"] == pytest.approx(0.5 * 500 / 4 * 256 / 180, rel=1e-3)
    lying = (row["xy"][[11, 12]] - row["xy"][[23, 24]]).mean(0)
    np.testing.assert_allclose(lying, [-row["torso"], 0], atol=0.5)


def test_only_joint_centres_are_marked():
    row = label(*standing(), Crop(340.0, 250.0, 180.0, 0.0), FOCAL, (640, 480))
    assert set(np.flatnonzero(row["marked"])) == set(JOINTS) and (row["seen"] == -1).all()


def test_crops_come_back_from_their_files(tmp_path):
    rng = np.random.default_rng(0)
    pictures = [np.full((256, 256, 3), (40 * k, 90, 200), np.uint8) for k in range(3)]
    rows = np.zeros(3, LABEL)
    rows["xy"] = rng.uniform(0, 256, (3, 33, 2))
    write(tmp_path / "00001.npz", pictures[:2], rows[:2])
    write(tmp_path / "00002.npz", pictures[2:], rows[2:])
    staged = Staged.load(tmp_path)
    np.testing.assert_array_equal(staged.labels, as_matrix(rows))
    assert np.abs(staged.pictures.astype(int) - np.stack(pictures)).max() < 6
    shown, labels = staged.batch(rng, 5)
    assert shown.shape == (5, 256, 256, 3) and {tuple(x) for x in labels.tolist()} <= {tuple(x) for x in staged.labels.tolist()}


def test_an_empty_folder_says_how_to_fill_it(tmp_path):
    with pytest.raises(MatsideError, match="staged-crops"):
        Staged.load(tmp_path)


def test_a_point_that_is_not_known_teaches_nothing():
    torch = pytest.importorskip("torch")
    from pipeline.landmarks.tuning.losses import drawn_loss

    torch.manual_seed(0)
    student = [torch.randn(2, 195), torch.rand(2, 1), None, torch.randn(2, 64, 64, 39), torch.randn(2, 117)]
    rows = np.zeros(2, LABEL)
    rows["xy"], rows["person"], rows["framed"], rows["seen"], rows["torso"] = 100.0, 1, 1, -1, 60
    rows["marked"][:, list(JOINTS)] = 1
    other = rows.copy()
    other["xy"][:, 0], other["world"][:, 0], other["aux"] = 30.0, 5.0, 77.0
    one, two = (drawn_loss(student, student, split(torch.from_numpy(as_matrix(r)))) for r in (rows, other))
    for part in ("xy", "refined", "heatmap", "aux", "world", "z"):
        assert float(one[part]) == pytest.approx(float(two[part]), rel=1e-5), part
    other["xy"][:, 11] = 30.0
    assert float(drawn_loss(student, student, split(torch.from_numpy(as_matrix(other))))["xy"]) != pytest.approx(float(one["xy"]), rel=1e-5)
