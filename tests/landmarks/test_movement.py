"""Where it moves, in drawn pictures: a square that walks while the camera sways."""

import numpy as np
import pytest

from pipeline.clips.video import Frame
from pipeline.landmarks.movement import Movement
from pipeline.landmarks.spool import Spool

WIDTH, HEIGHT, N_FRAMES = 480, 320, 24


def filmed(sway):
    """A textured wall that shifts by `sway` px a frame, and a white square that walks from x = 60 by 8 px a frame over it."""
    rng = np.random.default_rng(0)
    wall = np.kron(rng.integers(60, 160, (HEIGHT // 16, 2 * WIDTH // 16)), np.ones((16, 16))).astype(np.uint8)
    spool = Spool()
    for i in range(N_FRAMES):
        image = np.repeat(np.roll(wall, round(sway * i), axis=1)[:, :WIDTH, None], 3, axis=2)
        x = 60 + 8 * i
        image[180:260, x : x + 40] = 255
        spool.append(Frame(i, i / 24, np.ascontiguousarray(image), 1.0))
    return spool


@pytest.mark.parametrize("sway", [0.0, 3.0])
def test_the_square_looked_at_holds_what_moves_not_what_the_camera_shifts(sway):
    spool = filmed(sway)
    camera = np.c_[sway * np.arange(N_FRAMES), np.zeros(N_FRAMES)]
    numbers = [0, 8, 16, 23]
    movement = Movement(spool, camera, numbers)
    for number in numbers:
        x0, y0, x1, y1 = movement.windows(number, 160, 1)[0]
        assert x1 - x0 == pytest.approx(160, abs=3) and y1 - y0 == pytest.approx(160, abs=3)
        assert x0 < 80 + 8 * number < x1 and y0 < 220 < y1
        assert x0 >= -3 and y0 >= -3 and x1 <= WIDTH + 3 and y1 <= HEIGHT + 3


def test_where_nothing_moves_there_is_nowhere_to_look():
    spool = Spool()
    for i in range(6):
        spool.append(Frame(i, i / 24, np.full((HEIGHT, WIDTH, 3), 90, np.uint8), 1.0))
    assert Movement(spool, np.zeros((6, 2)), [0, 5]).windows(0, 100, 2) == []
