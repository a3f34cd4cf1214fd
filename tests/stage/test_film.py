"""Camera, timing and files: what is projected is what is drawn, and what is written is what a player shows."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.stage.camera import Shot, film
from pipeline.stage.encode import write_clip
from pipeline.stage.timing import clock, curve, ramp, window

T = clock(1.0)
HIPS = np.stack([np.linspace(-0.5, 0.5, len(T)), np.zeros(len(T)), np.full(len(T), 0.6)], 1)


def test_the_drawing_matrix_puts_points_where_project_says():
    camera = film(Shot(640, 480, off_square=17, roll=3, shake=2), T, HIPS, 1.2, np.random.default_rng(1))
    points = np.random.default_rng(2).uniform([-1, -0.5, 0], [1, 0.5, 1.2], (50, 3))
    for frame in (0, 60, 119):
        xy, depth = camera.project(points, frame)
        clip = np.c_[points, np.ones(50)] @ camera.matrix(frame).T
        assert np.all(depth > 0)
        assert_allclose(640 * (0.5 + 0.5 * clip[:, 0] / clip[:, 3]), xy[:, 0], atol=1e-6)
        assert_allclose(480 * (0.5 - 0.5 * clip[:, 1] / clip[:, 3]), xy[:, 1], atol=1e-6)


@pytest.mark.parametrize("share", [0.3, 0.6])
def test_the_athlete_fills_the_share_of_the_picture_asked_for(share):
    still = np.tile([0.0, 0.0, 0.6], (len(T), 1))
    camera = film(Shot(960, 540, share=share, shake=0, up=0.6, pan=0), T, still, 1.2, np.random.default_rng(1))
    xy, _ = camera.project(np.array([[0, 0, 0.0], [0, 0, 1.2]]), 0)
    assert (xy[0, 1] - xy[1, 1]) / 540 == pytest.approx(share, rel=0.02)
    assert xy[0, 1] > xy[1, 1]  # y runs down


def test_square_on_the_pictures_right_is_plus_x():
    camera = film(Shot(shake=0, pan=0), T, HIPS, 1.2, np.random.default_rng(1))
    xy, _ = camera.project(np.array([[-0.3, 0, 0.5], [0.3, 0, 0.5]]), 0)
    assert xy[1, 0] > xy[0, 0] and xy[0, 1] == pytest.approx(xy[1, 1], abs=1e-6)


def test_curves_pass_their_keys_and_never_overshoot():
    t = np.linspace(0, 2, 201)
    c = curve(t, [(0, 0), (0.5, 0), (1, 90), (1.5, 90), (2, 20)])
    assert_allclose(c[[0, 50, 100, 150, 200]], [0, 0, 90, 90, 20], atol=1e-9)
    assert c.min() >= -1e-9 and c.max() <= 90 + 1e-9
    assert ramp(np.array([0.0, 1.0, 1.5, 2.0]), 1, 2) == pytest.approx([0, 0, 0.5, 1])
    assert window(np.array([0.0, 1.0, 1.5, 2.5]), 1, 2, 0.2) == pytest.approx([0, 1, 1, 0])


def pictures(n: int, width: int, height: int):
    """Dark, with a white patch in the picture's upper left and a grey one lower right."""
    for _ in range(n):
        p = np.full((height, width, 3), 20, np.uint8)
        p[: height // 4, : width // 4] = 235
        p[-height // 4 :, -width // 4 :] = 120
        yield p


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_clip_stored_turned_is_shown_upright(tmp_path, turn):
    """Read back with the project's own reader, which heeds the turn; 128 x 96 as shown."""
    from pipeline.clips.video import frames, probe

    path = tmp_path / f"turned_{turn}.mp4"
    write_clip(path, pictures(6, 128, 96), np.arange(6) / 30, crf=18, turn=turn)
    video = probe(path)
    assert (video.width, video.height) == (128, 96)
    shown = [f.image for f in frames(path)]
    assert len(shown) == 6 and shown[0].shape == (96, 128, 3)
    assert shown[3][:20, :28].mean() > 200 and 90 < shown[3][-20:, -28:].mean() < 150 and shown[3][:20, -28:].mean() < 60


def test_wandering_frame_times_are_kept(tmp_path):
    from pipeline.clips.video import frames

    times = np.cumsum([0, 4, 4, 5, 8, 4, 6]) / 120
    write_clip(tmp_path / "wander.mp4", pictures(7, 64, 48), times)
    assert_allclose([f.t for f in frames(tmp_path / "wander.mp4")], times, atol=1e-4)
