"""Painting others out: what is painted takes the colours around it, what is meant stays."""

import numpy as np

from pipeline.landmarks.hide import paint_out
from pipeline.landmarks.track import INDEX
from tests.landmarks.stickman import body

RED, BLUE, GREY = (200, 20, 20), (20, 20, 200), (120, 120, 120)


def picture(*people):
    pixels = np.full((256, 256, 3), GREY, np.uint8)
    for points, colour in people:
        x0, y0 = points.min(0).astype(int)
        x1, y1 = points.max(0).astype(int)
        pixels[max(y0, 0) : y1, max(x0, 0) : x1] = colour
    return pixels


def test_a_neighbour_is_painted_over_in_the_colour_of_the_hall():
    athlete, spotter = body(80, 130, 40), body(190, 120, 45)
    out = paint_out(picture((athlete, RED), (spotter, BLUE)), [spotter], athlete)
    x, y = spotter[[INDEX["left_hip"], INDEX["right_hip"]]].mean(0).astype(int)
    assert abs(out[y, x].astype(int) - GREY).max() < 60  # no longer blue
    x, y = athlete[[INDEX["left_hip"], INDEX["right_hip"]]].mean(0).astype(int)
    assert tuple(out[y, x]) == RED


def test_where_the_athlete_is_expected_nothing_is_painted():
    athlete = body(128, 130, 40)
    before = picture((athlete, RED))
    out = paint_out(before, [body(128, 130, 40)], athlete)
    x, y = athlete[INDEX["left_knee"]].astype(int)
    assert tuple(out[y, x]) == RED


def test_nobody_near_leaves_the_picture_as_it_is():
    pixels = np.random.default_rng(0).integers(0, 255, (256, 256, 3), dtype=np.uint8)
    np.testing.assert_array_equal(paint_out(pixels, [], None), pixels)
    np.testing.assert_array_equal(paint_out(pixels, [body(5000, 5000, 40)], None), pixels)
