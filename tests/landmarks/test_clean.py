"""Sides sorted and wild points taken out, where the right answer was there before it was spoilt."""

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal

from pipeline.landmarks.clean import drop_wild, off_picture, sort_sides
from pipeline.landmarks.sides import ARMS, LEGS
from pipeline.landmarks.track import INDEX
from tests.landmarks.stickman import body


def turning(n=40):
    return np.array([body(200 + 2 * i, 200, 50, 6 * i) for i in range(n)])


def swapped(xy, rows, pair):
    out = xy.copy()
    left, right = pair
    for i in rows:
        out[i][np.r_[left, right]] = xy[i][np.r_[right, left]]
    return out


def test_sides_that_change_for_some_frames_are_put_back():
    true = turning()
    spoilt = swapped(swapped(true, range(12, 17), LEGS), [25, 26], ARMS)
    flipped = sort_sides(spoilt, 50.0)
    assert_array_equal(np.flatnonzero(flipped[:, 0]), range(12, 17))
    assert_array_equal(np.flatnonzero(flipped[:, 1]), [25, 26])
    assert_allclose(spoilt, true)


def test_legs_that_change_sides_wide_apart_and_stay_so_are_put_back():
    lunge = body(200, 200, 50)
    lunge[LEGS[0]] += np.linspace(0, 30, 5)[:, None] * [1, 0]
    lunge[LEGS[1]] -= np.linspace(0, 30, 5)[:, None] * [1, 0]
    true = np.array([lunge] * 120)
    spoilt = swapped(true, range(40, 100), LEGS)
    sort_sides(spoilt, 50.0)
    assert_allclose(spoilt, true)


def test_shoulders_do_not_cross_the_hips_for_long():
    true = np.array([body(200, 200, 50, 180 + i) for i in range(60)])
    spoilt = swapped(true, range(20, 60), ARMS)
    spoilt[18:20] = np.nan  # nothing tells by its way which is which
    flipped = sort_sides(spoilt, 50.0)
    assert_array_equal(np.flatnonzero(flipped[:, 1]), range(20, 60))


def test_right_sides_are_left_alone_also_across_a_gap():
    true = turning()
    gap = true.copy()
    gap[10:14] = np.nan
    before = gap.copy()
    assert not sort_sides(gap, 50.0).any()
    assert_allclose(gap, before)


def test_one_wild_point_is_taken_out_and_fast_ones_stay():
    true = turning()
    spoilt = true.copy()
    spoilt[20, 27] += [40, 10]
    wild = drop_wild(spoilt, np.arange(40) / 30, 50.0)
    assert wild[20, 27] and wild.sum() == 1
    assert not drop_wild(true, np.arange(40) / 30, 50.0).any()


def test_right_points_between_wild_ones_stay():
    true = turning()
    spoilt = true.copy()
    spoilt[[20, 22], 27] += [40, 10]
    wild = drop_wild(spoilt, np.arange(40) / 30, 50.0)
    assert_array_equal(np.flatnonzero(wild[:, 27]), [20, 22])
    assert wild.sum() == 2


def test_a_foot_beyond_the_edge_is_no_sight_and_an_arm_ends_where_its_elbow_left():
    xy = np.array([body(100, 100, 40), body(100, 140, 40), body(15, 100, 40)])
    off = off_picture(xy, 200, 200, 40)
    assert not off[0].any()
    feet = [INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("ankle", "heel", "foot_index")]
    assert off[1, feet].all() and off[1].sum() == len(feet)
    arm = [INDEX[f"right_{p}"] for p in ("elbow", "wrist", "pinky", "index", "thumb")]
    assert off[2, arm].all() and not off[2, INDEX["left_wrist"]]
