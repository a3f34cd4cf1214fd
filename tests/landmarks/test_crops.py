"""Crops: there and back again, and the right pixels inside."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis.strategies import floats
from numpy.testing import assert_allclose

from pipeline.landmarks.crops import SIZE, Crop, between, cut


@given(x=floats(-500, 3000), y=floats(-500, 3000), side=floats(20, 4000), angle=floats(-7, 7))
def test_points_come_back_from_a_crop(x, y, side, angle):
    crop = Crop(x, y, side, angle)
    points = np.array([[0.0, 0.0], [255.0, 12.5], [100.0, 200.0]])
    assert_allclose(crop.to_crop(crop.to_picture(points)), points, atol=1e-6)


def test_the_middle_of_the_crop_is_its_centre_and_up_is_turned_clockwise():
    crop = Crop(300, 200, 512, np.pi / 2)  # up points to the picture's right
    middle = (SIZE - 1) / 2
    assert_allclose(crop.to_picture(np.array([middle, middle])), [300, 200])
    assert_allclose(crop.to_picture(np.array([middle, middle - 10])), [320, 200], atol=1e-9)


def test_a_crop_between_hips_and_top_holds_the_whole_circle_with_a_quarter_to_spare():
    crop = between(np.array([100.0, 100.0]), np.array([100.0, 40.0]))
    assert (crop.x, crop.y, crop.angle) == (100, 100, 0)
    assert crop.side == pytest.approx(1.25 * 2 * 60)


@pytest.mark.parametrize("side", [128.0, 256.0, 700.0, 1500.0])
@pytest.mark.parametrize("angle", [0.0, 0.7, -2.5])
def test_a_bright_spot_lands_where_the_matrix_says(side, angle):
    spot = np.array([415.0, 330.0])
    image = np.zeros((700, 900, 3), np.float32)
    y, x = np.mgrid[:700, :900]
    sigma = side / 60
    image += (250 * np.exp(-((x - spot[0]) ** 2 + (y - spot[1]) ** 2) / (2 * sigma**2)))[..., None]
    crop = Crop(450.0, 300.0, side, angle)
    pixels = cut(image.astype(np.uint8), crop)[..., 0].astype(float)
    assert pixels.shape == (SIZE, SIZE)
    cy, cx = np.mgrid[:SIZE, :SIZE]
    found = np.array([(pixels * cx).sum(), (pixels * cy).sum()]) / pixels.sum()
    assert_allclose(found, crop.to_crop(spot), atol=0.15)
