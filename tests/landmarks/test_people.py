"""Finding people: tiles that cover the picture, and links that are never guessed."""

from itertools import pairwise

import numpy as np
import pytest

from pipeline.landmarks.detector import Found
from pipeline.landmarks.people import look_at, regions, survey
from pipeline.landmarks.spool import Spool


def found(x, y=200.0, score=0.9):
    return Found(score, (x - 10, y - 90, x + 10, y - 40), np.array([x, y]), np.array([x, y - 100]), np.array([x, y - 50]))


class Scripted:
    """A detector that sees what it is told, frame after frame."""

    def __init__(self, people):
        self.people, self.k = people, -1

    def __call__(self, image, *, least, region):
        if region[2] - region[0] < 300:
            return []  # a closer look at a part shows nothing more
        if region[0] == 0:
            self.k += 1
        return [f for f in self.people[self.k] if region[0] <= f.hips[0] < region[2]]


class Pictures(Spool):
    def __getitem__(self, number):
        return np.zeros((300, 300, 3), np.uint8)

    def grey(self, number):
        return np.zeros((160, 160), np.uint8)


def looked(people):
    spool = Pictures(0, [0.25 * i for i in range(len(people))], (300, 300))
    return survey(spool, Scripted(people), np.zeros((len(people), 2)), per_second=4, least=0.5)


@pytest.mark.parametrize("size", [(960, 540), (540, 960), (720, 540), (500, 500), (960, 300)])
def test_tiles_are_squares_that_cover_the_picture_and_overlap(size):
    tiles = regions(*size)
    width, height = size
    assert tiles[0][:2] == (0, 0) and tiles[-1][2:] == (width, height)
    assert all(x1 - x0 == y1 - y0 == min(size) for x0, y0, x1, y1 in tiles)
    along = 0 if width >= height else 1
    assert all(b[along] - a[along] <= 0.75 * min(size) + 1e-9 for a, b in pairwise(tiles))


@pytest.mark.parametrize("size", [(4096, 16), (16, 4096), (5000, 900)])
def test_a_strip_costs_no_more_looks_than_a_few(size):
    tiles, along = regions(*size), 0 if size[0] >= size[1] else 1
    assert len(tiles) <= 7 and tiles[0][along] == 0 and tiles[-1][along + 2] == pytest.approx(max(size))
    assert all(b[along] - a[along] <= 0.75 * (a[2] - a[0]) + 1e-9 for a, b in pairwise(tiles))
    assert all(t[1 - along] <= 0 and t[3 - along] >= min(size) for t in tiles), "the whole strip is seen"


def test_two_people_apart_are_two_sightings():
    sightings = looked([[found(60), found(240)]] * 5)
    assert sorted(len(s.frames) for s in sightings) == [5, 5]


def test_where_two_could_be_meant_nobody_is_linked():
    one_left = [[found(100), found(140)], [found(120)], [found(120)]]
    sightings = looked(one_left)
    assert all(
        len({round(f.hips[0]) for f in s.found} & {100, 140}) + len({round(f.hips[0]) for f in s.found} & {120}) == 1 for s in sightings
    )


def test_the_first_and_the_last_frame_are_looked_at_even_at_odd_times():
    spool = Spool(10, [0.0, 0.05, 0.3, 0.31, 1.0, 1.02])
    assert look_at(spool, 4)[0] == 10 and look_at(spool, 4)[-1] == 15
    assert look_at(Spool(3, [0.0]), 4) == [3]
