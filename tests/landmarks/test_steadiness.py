"""How steady a followed body is: drawn people who are lost, leave the picture, leap, or whose limbs grow and shrink."""

import numpy as np
import pytest

from pipeline.bench.truth_track import truth_track
from pipeline.landmarks.steadiness import extent, lost, unsteadiness
from pipeline.landmarks.track import INDEX, N, Track
from tests.landmarks.stickman import body
from tests.landmarks.test_sample_clip import ALONE, SAMPLES

N_FRAMES, SIZE = 100, 50.0


def track_of(xy):
    blank = np.full(xy.shape[:2], np.nan)
    return Track(np.arange(len(xy)) / 30, xy, blank, blank, np.ones(len(xy)), blank, (640, 360), "clip")


def walking(start=100.0, step=3.0):
    return np.array([body(start + step * i, 180, SIZE) for i in range(N_FRAMES)])


def test_a_body_that_walks_by_is_steady():
    assert unsteadiness(track_of(walking())) == pytest.approx(0, abs=1e-9)


def test_true_joints_of_a_cartwheel_are_hardly_unsteady():
    assert 0 < unsteadiness(truth_track(SAMPLES / "truth" / f"{ALONE}.csv", (960, 540))) < 0.15


def test_frames_lost_within_the_picture_count_each():
    xy = walking()
    xy[40:60] = np.nan
    assert np.flatnonzero(lost(track_of(xy))).tolist() == list(range(40, 60))
    assert unsteadiness(track_of(xy)) == pytest.approx(0.2)


@pytest.mark.parametrize("rows", [slice(0, 20), slice(80, 100)], ids=["before", "after"])
def test_so_do_those_before_she_is_found_and_after_she_is_lost(rows):
    xy = walking()
    xy[rows] = np.nan
    assert lost(track_of(xy)).sum() == 20


def test_who_leaves_the_picture_is_not_lost():
    xy = walking(step=6.0)  # beyond the right edge from frame 90 on
    xy[86:] = np.nan
    assert not lost(track_of(xy)).any()


def test_who_leaves_it_and_comes_back_is_not_lost_either():
    there = np.array([body(x, 180, SIZE) for x in np.r_[np.linspace(300, 610, 50), np.linspace(610, 300, 50)]])
    there[49:51] = np.nan
    assert not lost(track_of(there)).any()


def test_a_joint_that_leaps_counts_and_one_of_the_hand_does_not():
    xy = walking()
    xy[50, INDEX["left_knee"]] += (0.5 * SIZE, 0)
    xy[20, INDEX["left_wrist"]] += (2 * SIZE, 0)
    track = track_of(xy)
    assert 3 / 98 < unsteadiness(track) < 3 / 98 + 0.03  # off the way to it, at it, and from it; the rest is the limbs' lengths


def test_who_goes_over_to_somebody_half_as_large_is_unsteady():
    xy = walking()
    xy[50:] = np.array([body(250 + i, 180, SIZE / 2) for i in range(50)])
    assert unsteadiness(track_of(xy)) == pytest.approx(np.log(2) / 2 + 2 / 98, abs=0.01)


def test_who_does_a_cartwheel_moves_far_more_than_who_stands_or_walks():
    doing = extent(truth_track(SAMPLES / "truth" / f"{ALONE}.csv", (960, 540)))
    assert doing > 2.5
    assert extent(track_of(walking())) == pytest.approx(0, abs=1e-9)


def test_how_far_is_counted_in_trunks_and_a_few_leaps_are_not():
    xy = walking()
    swing = 50.0 * np.sin(np.linspace(0, 12 * np.pi, N_FRAMES))
    xy[:, INDEX["left_wrist"], 1] += swing
    xy[30, INDEX["right_ankle"]] += 300
    assert extent(track_of(xy)) == pytest.approx(2 / 6, abs=0.03)


def test_nobody_moves_nothing():
    assert extent(track_of(np.full((30, N, 2), np.nan))) == 0.0


def test_nobody_seen_is_as_unsteady_as_can_be():
    assert unsteadiness(track_of(np.full((30, N, 2), np.nan))) == 1.0
    assert lost(track_of(np.full((30, N, 2), np.nan))).all()


def test_one_frame_alone_is_no_body_followed():
    xy = np.full((30, N, 2), np.nan)
    xy[10] = body(300, 180, SIZE)
    assert unsteadiness(track_of(xy)) > 1
