"""Who stands about is looked at now and then, who stands still less often; both ends and every movement are seen."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.clips.video import Frame
from pipeline.landmarks.choose import bystanders
from pipeline.landmarks.crops import Crop
from pipeline.landmarks.detector import Found
from pipeline.landmarks.follow import follow_everyone
from pipeline.landmarks.net import Guess
from pipeline.landmarks.spool import Spool
from pipeline.landmarks.track import INDEX, N
from tests.landmarks.stickman import body, path_of

FRAMES, SIZE = 40, 40.0
HIPS, UP = np.array([200.0, 200.0]), np.array([0.0, SIZE])
WRISTS = [INDEX["left_wrist"], INDEX["right_wrist"]]


class Sees:
    """A network that sees a body (33, 2) by the frame's number, which the picture's grey tells, wherever it is asked to look near it."""

    def __init__(self, way: np.ndarray) -> None:
        self.way = way

    def read(self, pixels: np.ndarray, crop: Crop, *, mirrored: bool = False) -> Guess:
        xy = self.way[round(float(np.median(pixels)) / 5)]
        hips = xy[[INDEX["left_hip"], INDEX["right_hip"]]].mean(0)
        there = float(np.hypot(crop.x - hips[0], crop.y - hips[1]) < SIZE)
        return Guess(xy, np.zeros(N), np.ones(N), np.ones(N), there, hips, hips - 1.8 * UP)


def looked_at(way: np.ndarray, step: int = 1) -> list[int]:
    """Frames in which the one person of these bodies (n, 33, 2) is looked at."""
    spool = Spool()
    for i in range(len(way)):
        spool.append(Frame(i, i / 30, np.full((400, 400, 3), 5 * i, np.uint8), 1.0))
    found = Found(0.9, (0.0, 0.0, 1.0, 1.0), HIPS, HIPS - 1.8 * UP, HIPS - UP)
    paths = follow_everyone(Sees(way), spool, {0 if step > 0 else len(way) - 1: [found]}, step)  # type: ignore[arg-type]
    assert len(paths) == 1 and paths[0].valid.all(), "what was not looked at is filled in"
    return np.flatnonzero(paths[0].looked).tolist()


def standing() -> np.ndarray:
    return np.repeat(body(*HIPS, SIZE)[None], FRAMES, axis=0)


def test_who_stands_still_is_looked_at_ever_more_rarely() -> None:
    assert looked_at(standing()) == [0, 1, 4, 7, 13, 19, 25, 31, 37, 39]


def test_who_reaches_out_while_standing_is_looked_at_as_often_as_before() -> None:
    way = standing()
    way[:, WRISTS, 1] -= np.abs((np.arange(FRAMES) + 6) % 12 - 6)[:, None] * 0.3 * SIZE  # 0.15 trunks a look over all twelve joints
    assert max(np.diff(looked_at(way))) == 3


def test_a_step_aside_is_seen_from_the_next_look_on_in_each_frame() -> None:
    way = standing()
    way[25:30, :, 0] += np.arange(1, 6)[:, None] * 0.1 * SIZE  # three trunks a second
    way[30:, :, 0] += 0.5 * SIZE
    looks = looked_at(way)
    assert looks[:6] == [0, 1, 4, 7, 13, 19]
    assert set(range(25, 30)) - set(looks) <= {26, 27} and max(np.diff(looks)) == 6


@pytest.mark.parametrize("every", [1, 3, 6])
def test_a_bystander_is_one_however_seldom_looked_at(every: int) -> None:
    """Two quick movements in a hundred frames are allowed, whether each frame is looked at or every sixth."""
    t, n = np.arange(120) / 30, 120
    way = np.repeat(body(300, 200, SIZE)[None], n, axis=0)
    way[61:, :, 0] += 0.2 * SIZE
    other = path_of(way)
    other.looked[:] = False
    other.looked[::every] = True
    other.looked[60:62] = True  # a step in one frame: six trunks a second
    tumbler = path_of(np.array([body(100, 200, SIZE, 3 * i) for i in range(n)]))
    assert bystanders([tumbler, other], t, np.zeros((n, 2))) == [other]
