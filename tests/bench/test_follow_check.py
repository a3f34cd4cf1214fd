"""Which frames lie on the right person, and in which of them she is in the picture."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline.bench.figures import found
from pipeline.bench.follow_check import OTHER_SIDE, in_the_picture, on_the_right_person, read_truth
from pipeline.bench.readings import in_the_picture_throughout, right_person, whereabouts
from pipeline.bench.truth_track import truth_track
from tests.landmarks.test_sample_clip import ALONE, SAMPLES

SIZE = (960, 540)
FILE = SAMPLES / "truth" / f"{ALONE}.csv"


@pytest.fixture(scope="module")
def truth():
    return read_truth(FILE)


def test_the_true_joints_are_on_the_right_person_whichever_side_they_are_called(truth):
    t, xy, _ = truth
    assert on_the_right_person(t, xy, truth).all()
    assert on_the_right_person(t, xy[:, OTHER_SIDE], truth).all()


def test_somebody_a_trunk_away_is_not_and_a_gap_is_not_either(truth):
    t, xy, _ = truth
    xy = xy.copy()
    xy[:10] += 150
    xy[10:15] = np.nan
    assert np.flatnonzero(~on_the_right_person(t, xy, truth)).tolist() == list(range(15))


def test_one_joint_outside_and_she_is_not_in_the_picture(truth):
    t, xy, world = truth
    xy = xy.copy()
    xy[7, 27] = (400, 541)  # left ankle
    xy[9, 15] = (400, 541)  # a wrist is none of the eight
    assert np.flatnonzero(~in_the_picture((t, xy, world), SIZE)).tolist() == [7]


def test_shares_of_all_frames_and_of_those_in_the_picture_or_told(truth):
    track = truth_track(FILE, SIZE)
    narrow = truth_track(FILE, (480, 540))  # the same joints, half of them beyond the edge
    shares = right_person(whereabouts(SAMPLES, {ALONE: track})).loc[ALONE]
    assert shares["all"] == shares.in_the_picture == 1
    inside = in_the_picture(truth, narrow.size)
    assert 0.05 < inside.mean() < 0.95
    xy = np.where(inside[:, None, None], narrow.xy, np.nan)
    shares = right_person(whereabouts(SAMPLES, {ALONE: replace(narrow, xy=xy)})).loc[ALONE]
    assert shares["all"] == pytest.approx(inside.mean()) and shares.in_the_picture == shares.told == 1
    astray = narrow.xy.copy()
    astray[~inside] += 300  # somebody else's, where she is out of the picture
    shares = right_person(whereabouts(SAMPLES, {ALONE: replace(narrow, xy=astray)})).loc[ALONE]
    assert shares["all"] == shares.told == pytest.approx(inside.mean()) and shares.in_the_picture == 1


def test_attempts_that_leave_the_picture_are_counted_apart():
    attempts = pd.DataFrame({"clip": ALONE, "true_start_s": [0.0, 0.0], "true_end_s": [9.0, 9.0], "found": [True, False], "extra": False})
    attempts["in_the_picture"] = [True, False]
    assert in_the_picture_throughout(attempts, whereabouts(SAMPLES, {ALONE: truth_track(FILE, SIZE)})).all()
    assert not in_the_picture_throughout(attempts, whereabouts(SAMPLES, {ALONE: truth_track(FILE, (480, 540))})).any()
    assert found(attempts, 0.15).startswith("attempts found 1 of 2 (50 %), of those in the picture throughout 1 of 1 (100 %)")
