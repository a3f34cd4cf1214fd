"""Limbs in doubt: where the right leg is in sight it is taken, and nothing else is touched. A drawn body walks; its legs were spoilt."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from pipeline.landmarks.doubts import doubted, expected, settle
from pipeline.landmarks.net import Guess
from pipeline.landmarks.sides import ARMS, LEGS
from pipeline.landmarks.track import INDEX, N
from tests.landmarks.stickman import body

SIZE = 50.0
FRAMES = 30
T = np.arange(FRAMES) / 30
LEFT_LEG = LEGS[0][1:]
KNEE, ANKLE = INDEX["left_knee"], INDEX["left_ankle"]


def walking() -> np.ndarray:
    """(30, 33, 2) a body that moves to the right, its legs swinging apart by up to a torso."""
    xy = np.array([body(200 + 2 * i, 200, SIZE) for i in range(FRAMES)])
    for (_, knee, ankle, heel, toe), sign in zip(LEGS, (1, -1), strict=True):
        swing = sign * 25 * np.sin(2 * np.pi * T)
        xy[:, knee, 0] += 0.5 * swing
        for point in (ankle, heel, toe):
            xy[:, point, 0] += swing
    return xy


def spoilt(rows: range) -> np.ndarray:
    """The walker with the left leg on somebody two torsos beside in some frames."""
    xy = walking()
    xy[np.ix_(rows, LEFT_LEG)] += [2 * SIZE, 0]
    return xy


def no_doubt() -> np.ndarray:
    return np.zeros((FRAMES, N))


def values() -> list[np.ndarray]:
    """Depth, visibility, peaks."""
    return [np.zeros((FRAMES, N)), np.ones((FRAMES, N)), np.full((FRAMES, N), 0.8)]


def seen(xy: np.ndarray, peak: float = 0.8) -> Guess:
    return Guess(xy.copy(), np.full(N, 7.0), np.ones(N), np.full(N, peak), 1.0, np.zeros(2), np.zeros(2))


def sees(xy: np.ndarray, asked: list[int] | None = None) -> Callable[[int, np.ndarray], list[Guess]]:
    """Two looks that see these bodies."""

    def look(row: int, _: np.ndarray) -> list[Guess]:
        if asked is not None:
            asked.append(row)
        return [seen(xy[row]), seen(xy[row])]

    return look


def test_a_steady_walk_is_not_doubted() -> None:
    assert not doubted(walking(), T, no_doubt(), SIZE).any()


def test_a_leg_that_jumps_away_and_back_is_doubted_all_the_time_between() -> None:
    hips, shoulders, legs, arms = doubted(spoilt(range(10, 17)), T, no_doubt(), SIZE).T
    assert_array_equal(np.flatnonzero(legs), range(9, 18))
    assert not (arms | hips | shoulders).any()


def test_two_looks_far_apart_are_a_doubt_about_that_pair_of_limbs_only() -> None:
    apart = no_doubt()
    apart[12, INDEX["right_wrist"]] = 0.6 * SIZE
    apart[20, INDEX["right_wrist"]] = 0.4 * SIZE
    hips, shoulders, legs, arms = doubted(walking(), T, apart, SIZE).T
    assert_array_equal(np.flatnonzero(arms), [12])
    assert not (legs | hips | shoulders).any()


def test_lost_frames_are_not_doubted() -> None:
    xy = walking()
    xy[5:9] = np.nan
    assert not doubted(xy, T, no_doubt(), SIZE).any()


def test_a_limb_in_doubt_is_expected_on_a_straight_line() -> None:
    xy = np.array([body(200 + 2 * i, 200, SIZE) for i in range(FRAMES)])  # moves as a whole: the line is the truth
    true = xy.copy()
    xy[np.ix_(range(10, 13), LEFT_LEG)] += [2 * SIZE, 0]
    assert_allclose(expected(xy, doubted(xy, T, no_doubt(), SIZE)), true)


def test_a_borrowed_leg_is_put_right_where_the_looks_see_it() -> None:
    xy, parts, asked = spoilt(range(10, 17)), values(), []
    sure = settle(xy, T, SIZE, no_doubt(), parts, sees(walking(), asked))
    assert_allclose(xy, walking(), atol=1e-9)
    assert asked == list(range(9, 18))  # nothing else is looked at
    assert sure[12, ANKLE] and not sure[20].any()
    assert parts[0][12, KNEE] == 7.0 and parts[0][20, KNEE] == 0.0  # depth comes with the sight


def test_what_the_looks_do_not_see_either_stays_and_is_not_made_up() -> None:
    xy = spoilt(range(10, 12))
    before = xy.copy()
    sure = settle(xy, T, SIZE, no_doubt(), values(), lambda row, expected: [])
    assert_allclose(xy, before)
    assert not sure.any()


def test_one_look_is_enough_to_put_right_but_not_to_be_sure() -> None:
    xy, true = spoilt(range(10, 12)), walking()
    sure = settle(xy, T, SIZE, no_doubt(), values(), lambda row, expected: [seen(true[row]), seen(xy[row])][: 2 if row == 10 else 1])
    assert_allclose(xy, true, atol=1e-9)
    assert not sure[:, ANKLE].any()


def test_a_look_at_somebody_else_does_not_count() -> None:
    xy = spoilt(range(10, 12))
    before, stranger = xy.copy(), walking() + np.array([SIZE, 0])
    settle(xy, T, SIZE, no_doubt(), values(), sees(stranger))
    assert_allclose(xy, before)


def test_a_look_that_names_the_legs_the_other_way_round_is_turned_back() -> None:
    turned = walking()
    turned[:, [*LEGS[0], *LEGS[1]]] = turned[:, [*LEGS[1], *LEGS[0]]]
    xy = spoilt(range(6, 8))  # legs are wide apart there
    settle(xy, T, SIZE, no_doubt(), values(), sees(turned))
    assert_allclose(xy, walking(), atol=1e-9)


def test_each_leg_is_taken_from_the_look_that_has_it() -> None:
    true = walking()
    one, other = true.copy(), true.copy()
    one[:, LEGS[0][1:]] += [2 * SIZE, 0]
    other[:, LEGS[1][1:]] -= [2 * SIZE, 0]
    xy = spoilt(range(10, 13))
    settle(xy, T, SIZE, no_doubt(), values(), lambda row, expected: [seen(one[row]), seen(other[row])])
    assert_allclose(xy[:, [KNEE, ANKLE]], true[:, [KNEE, ANKLE]], atol=1e-9)


def test_a_true_jump_that_both_looks_confirm_is_sure() -> None:
    kick = walking()
    kick[15, [ANKLE, *LEGS[0][3:]]] += [0, -SIZE]  # one frame, seen three times
    xy = kick.copy()
    sure = settle(xy, T, SIZE, no_doubt(), values(), sees(kick))
    assert_allclose(xy, kick)
    assert sure[15, ANKLE]


def test_a_shoulder_that_leaves_for_a_frame_is_put_back_and_nothing_else_moves() -> None:
    xy, moved = walking(), walking()
    xy[14, INDEX["right_shoulder"]] -= [0, SIZE]
    moved[:, LEGS[0][1:]] += [5.0, 0.0]  # both looks see a leg a little off, of which there was no doubt
    sure = settle(xy, T, SIZE, no_doubt(), values(), sees(moved))
    assert_allclose(xy, walking(), atol=1e-9)
    assert sure[14, INDEX["right_shoulder"]] and not sure[14, ANKLE]


def test_arms_do_not_follow_the_legs_doubt() -> None:
    moved = walking()
    moved[:, ARMS[0][1:]] += [5.0, 0.0]  # both looks see the arm a little off
    xy = spoilt(range(10, 12))
    settle(xy, T, SIZE, no_doubt(), values(), sees(moved))
    assert_allclose(xy, walking(), atol=1e-9)


@pytest.mark.parametrize("rows", [range(0, 2), range(28, 30)])
def test_at_the_ends_of_the_clip_a_leg_is_carried_on_from_the_one_side(rows: range) -> None:
    xy = spoilt(rows)
    settle(xy, T, SIZE, no_doubt(), values(), sees(walking()))
    assert_allclose(xy, walking(), atol=1e-9)
