"""Painting others out: what is painted takes the colours around it, what is meant stays."""

import cv2
import numpy as np

from pipeline.landmarks import hide
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


def test_only_what_lies_near_the_others_changes_and_softly_at_the_edge():
    pixels = np.random.default_rng(0).integers(0, 255, (256, 256, 3), dtype=np.uint8)
    spotter = body(190, 120, 40)
    out = paint_out(pixels, [spotter], None)
    changed = np.argwhere((out != pixels).any(2))
    widest = 0.42 * 40 / 2 + 0.42 * 40 + 3  # the trunk's line and the head's circle, and the softened edge
    far = (changed[:, 1] < spotter[:, 0].min() - widest) | (changed[:, 1] > spotter[:, 0].max() + widest)
    assert len(changed) > 1000 and not far.any()


def test_the_edge_is_mixed_as_the_plain_formula_says():
    """Worked on whole, without a thought to speed."""
    pixels = np.random.default_rng(1).integers(0, 255, (256, 256, 3), dtype=np.uint8)
    spotter, own = body(250, 20, 50), body(200, 60, 45)  # beyond the crop's edge too
    mask = np.zeros((256, 256), np.uint8)
    hide._draw(mask, spotter, hide.OTHERS_WIDTH, 255)
    hide._draw(mask, own, hide.OWN_WIDTH, 0)
    small = cv2.resize(np.where(mask[..., None] > 0, 0, pixels).astype(np.uint8), (32, 32), interpolation=cv2.INTER_AREA).astype(np.float32)
    share = cv2.resize(255 - mask, (32, 32), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    for _ in range(2):
        small, share = cv2.blur(small, (7, 7)), cv2.blur(share, (7, 7))
    filling = np.rint(small / np.maximum(share, 1e-3)[..., None]).astype(np.uint8)
    filling = cv2.resize(filling, (256, 256), interpolation=cv2.INTER_LINEAR).astype(np.float32)
    soft = cv2.blur(255 - mask, (5, 5))[..., None].astype(np.float32) / 255
    wanted = pixels * soft + filling * (1 - soft)
    assert 0 < mask.astype(bool).sum() < mask.size
    np.testing.assert_allclose(paint_out(pixels, [spotter], own), wanted, atol=0.51)  # to the nearest grey level
