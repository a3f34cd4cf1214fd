"""The second look: what two looks agree on is averaged, exchanged limbs are turned back, and what is far off stays as it was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.clips.video import Frame
from pipeline.landmarks.crops import Crop
from pipeline.landmarks.join import Person
from pipeline.landmarks.net import Guess
from pipeline.landmarks.refine import MOST_APART, aligned_crop, look_mirrored, mix, spread
from pipeline.landmarks.sides import LEGS
from pipeline.landmarks.spool import Spool
from pipeline.landmarks.track import INDEX, N
from tests.landmarks.stickman import body as upright
from tests.landmarks.stickman import person_of

SIZE = 100.0  # pixels a trunk


def body() -> np.ndarray:
    """(33, 2) everything at its own place, limbs well apart; trunk straight up, 100 pixels long."""
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 300, (N, 2))
    for name, at in (("left_shoulder", (90, 100)), ("right_shoulder", (110, 100)), ("left_hip", (90, 200)), ("right_hip", (110, 200))):
        xy[INDEX[name]] = at
    return xy


def person(xy: np.ndarray) -> Person:
    one = np.zeros((1, N))
    return Person(0, xy[None].copy(), one.copy(), one.copy(), one.copy(), np.ones(1), np.full((1, N), np.nan), np.zeros(1, int))


def guess(xy: np.ndarray) -> Guess:
    return Guess(xy, np.full(N, 8.0), np.ones(N), np.ones(N), 1.0, np.zeros(2), np.zeros(2))


def test_two_looks_are_averaged_and_their_distance_kept_as_doubt() -> None:
    one = person(body())
    mix(one, 0, guess(body() + np.array([6.0, 8.0])), SIZE)
    assert one.xy[0] == pytest.approx(body() + np.array([3.0, 4.0]))
    assert one.disagreement[0] == pytest.approx(10.0)
    assert one.z[0] == pytest.approx(4.0)


def test_exchanged_legs_are_turned_back_before_the_mean() -> None:
    seen = body()
    left, right = LEGS
    seen[[*left, *right]] = seen[[*right, *left]]
    one = person(body())
    mix(one, 0, guess(seen), SIZE)
    assert one.xy[0] == pytest.approx(body())
    assert one.disagreement[0] == pytest.approx(0.0)


def test_a_point_far_off_stays_and_is_doubted() -> None:
    seen = body()
    seen[INDEX["left_wrist"]] += [80.0, 0.0]
    one = person(body())
    mix(one, 0, guess(seen), SIZE)
    assert one.xy[0] == pytest.approx(body())
    assert one.disagreement[0, INDEX["left_wrist"]] == pytest.approx(80.0)


def test_a_larger_doubt_from_the_passes_is_not_forgotten() -> None:
    one = person(body())
    one.disagreement[0] = 25.0
    mix(one, 0, guess(body()), SIZE)
    assert one.disagreement[0] == pytest.approx(25.0)


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0])
def test_the_crop_points_along_the_trunk_and_holds_the_body(turn: float) -> None:
    """A body turned by some degrees is cut upright: shoulders straight above hips in the crop, and every point inside."""
    a = np.radians(turn)
    xy = body() @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    crop = aligned_crop(xy)
    placed = crop.to_crop(xy)
    shoulders, hips = (
        placed[[INDEX["left_shoulder"], INDEX["right_shoulder"]]].mean(0),
        placed[[INDEX["left_hip"], INDEX["right_hip"]]].mean(0),
    )
    assert shoulders[0] == pytest.approx(hips[0], abs=1e-6)
    assert shoulders[1] < hips[1]
    assert (placed > 0).all() and (placed < 256).all()


def test_only_the_frames_asked_for_are_looked_at_a_second_time() -> None:
    way = np.array([upright(60.0 + i, 40, 12) for i in range(6)])
    spool = Spool()
    for i in range(6):
        spool.append(Frame(i, i / 30, np.full((90, 160, 3), 40, np.uint8), 1.0))

    class Net:
        def read(self, pixels: np.ndarray, crop: Crop, *, mirrored: bool) -> Guess:
            row = round(crop.x - 60)
            return guess(way[row] + [0.0, 2.0])

    one = person_of(way)
    look_mirrored(Net(), spool, one, [], np.array([False, True, True, False, False, True]))  # type: ignore[arg-type]
    assert one.xy[:, 0, 1] - way[:, 0, 1] == pytest.approx([0, 1, 1, 0, 0, 1])
    assert one.disagreement[:, 0] == pytest.approx([0, 2, 2, 0, 0, 2])


def test_of_frames_in_which_she_hardly_moves_one_in_a_few_is_looked_at() -> None:
    still = np.repeat(body()[None], 2 * MOST_APART + 1, axis=0)
    assert spread(still, np.ones(len(still), bool))[0] == [0, MOST_APART, 2 * MOST_APART]
    assert spread(still, np.ones(len(still), bool))[1][1] == (0, MOST_APART)
    way = still + np.arange(len(still))[:, None, None] * [0.04 * SIZE, 0.0]  # two steps are less than the limit, three are more
    assert spread(way, np.ones(len(way), bool))[0] == list(range(0, len(way), 2))
    quick = still + np.arange(len(still))[:, None, None] * [0.2 * SIZE, 0.0]
    assert spread(quick, np.ones(len(quick), bool))[0] == list(range(len(quick)))


def test_a_frame_not_asked_for_and_limbs_named_the_other_way_round_end_a_stretch_of_stillness() -> None:
    still = np.repeat(body()[None], 9, axis=0)
    chosen = np.ones(9, bool)
    chosen[2] = False
    assert spread(still, chosen)[0] == [0, 1, 3, 7, 8]
    left, right = LEGS
    still[2:, [*left, *right]] = still[2:, [*right, *left]]
    assert spread(still, np.ones(9, bool))[0] == [0, 1, 2, 6, 8]


class Looks:
    """A second network that sees the body `by` so many pixels lower in each frame, nobody where that is None; keeps which it was asked for."""

    def __init__(self, by: dict[int, float | None]) -> None:
        self.by, self.rows = by, list[int]()

    def read(self, pixels: np.ndarray, crop: Crop, *, mirrored: bool) -> Guess:
        row = round(int(pixels[128, 128, 0]) / 20)
        self.rows.append(row)
        by = self.by.get(row, 0.0)
        seen = guess(body() + np.array([0.0, by or 0.0]))
        return seen if by is not None else replace(seen, presence=0.0)


def filmed(n: int) -> Spool:
    """Frames whose grey tells their number."""
    spool = Spool()
    for i in range(n):
        spool.append(Frame(i, i / 30, np.full((300, 300, 3), 20 * i, np.uint8), 1.0))
    return spool


def test_between_two_looks_points_move_as_they_moved_there() -> None:
    net, one = Looks({0: 8.0, 4: 16.0}), person_of(np.repeat(body()[None], 5, axis=0))
    one.disagreement[3] = 15.0
    one.visibility[[0, 4]], one.visibility[2] = 0.5, 0.9
    look_mirrored(net, filmed(5), one, [], np.ones(5, bool))  # type: ignore[arg-type]
    assert net.rows == [0, 4]
    assert one.xy[:, 0, 1] - body()[0, 1] == pytest.approx([4, 5, 6, 7, 8])
    assert one.disagreement[:, 0] == pytest.approx([8, 10, 12, 15, 16]), "a larger doubt from the passes is not forgotten"
    assert one.z[:, 0] == pytest.approx(one.z[0, 0])
    assert one.visibility[2, 0] == 1.0, "a share stays one: 0.9 and the quarter by which its neighbours rose"


def test_where_the_look_before_or_after_saw_nobody_each_frame_between_is_looked_at() -> None:
    net, one = Looks({**dict.fromkeys(range(5), 8.0), 4: None}), person_of(np.repeat(body()[None], 5, axis=0))
    look_mirrored(net, filmed(5), one, [], np.ones(5, bool))  # type: ignore[arg-type]
    assert net.rows == [0, 4, 1, 2, 3]
    assert one.xy[:, 0, 1] - body()[0, 1] == pytest.approx([4, 4, 4, 4, 0])
