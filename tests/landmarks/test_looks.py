"""Clothes read from drawn pictures."""

from itertools import product

import cv2
import numpy as np
import pytest

from pipeline.landmarks.hide import LIMBS, TRUNK
from pipeline.landmarks.looks import BANDWIDTH, LIGHTNESS, PART, PARTS, STRANGE, clothes, could_be_one, learn
from tests.landmarks.stickman import body, wearing


def drawn(xy, rgb):
    """A picture of one body in one colour on grey."""
    image = np.full((400, 400, 3), 128, np.uint8)
    points = np.round(xy).astype(int)
    cv2.fillConvexPoly(image, cv2.convexHull(points[TRUNK]), rgb)
    for a, b, _ in LIMBS:
        cv2.line(image, points[a].tolist(), points[b].tolist(), rgb, 12)
    return image


def test_clothes_are_read_where_the_body_is_however_it_is_turned():
    for turn in (0, 90, 180, 250):
        xy = body(200, 200, 60, turn)
        seen = clothes(drawn(xy, (255, 0, 0)), xy)
        # CIE Lab of sRGB red: 53.2, 80.1, 67.2 (IEC 61966-2-1 primaries, D65)
        assert np.allclose(seen, [53.2, 80.1, 67.2], atol=1.0)


def test_beyond_the_pictures_edge_nothing_is_read():
    xy = body(200, 395, 60)
    seen = clothes(drawn(xy, (255, 0, 0)), xy)
    assert np.isnan(seen[PART == 3]).all() and np.isfinite(seen[PART == 0]).all()


def test_a_wardrobe_knows_stripes_and_its_own_from_others():
    stripes = wearing((60, 0, 0), 20, 1)
    stripes[:, ::2] = wearing((20, 50, 0), 20, 2)[:, ::2]
    known = learn(stripes)
    again = wearing((20, 50, 0), 5, 3)
    again[:, ::2] = wearing((60, 0, 0), 5, 4)[:, ::2]
    assert (known.fit(again) > known.usual - 0.5).all()
    assert (known.fit(wearing((60, 0, 60), 5)) < known.usual - 2).all()
    assert learn(stripes[:2]) is None


def test_the_same_clothes_in_another_size_are_another_person():
    red = (wearing((45, 60, 40), 20, 1), 50.0)
    assert could_be_one(red, (wearing((45, 60, 40), 20, 2), 55.0))
    assert not could_be_one(red, (wearing((45, 60, 40), 20, 2), 90.0))
    assert not could_be_one(red, (wearing((45, -50, 40), 20, 2), 50.0))


def test_how_well_clothes_fit_does_not_hang_on_the_frames_beside_them():
    rng = np.random.default_rng(3)
    wardrobe = learn(rng.normal((50, 10, -20), (6, 3, 3), (12, 26, 3)))
    seen = rng.normal((52, 8, -20), (6, 5, 5), (30, 26, 3))
    seen[::3] = np.nan  # not looked at
    seen[1, :6] = np.nan  # a part out of the picture
    alone = np.array([wardrobe.fit(one) for one in seen])
    together = wardrobe.fit(seen)
    assert np.isnan(together[::3]).all() and np.isfinite(together[1])
    np.testing.assert_array_equal(together, alone)


def test_a_fit_is_the_mean_log_likelihood_of_a_parzen_estimate():
    """Each part with one colour known, 9 units (one bandwidth) off in a: log(exp(-1/2) + 0.001)."""
    known = np.tile([50.0, 10.0, -20.0], (4, 26, 1))
    wardrobe = learn(known)
    assert wardrobe.fit(known[0] + (0, 9, 0)) == pytest.approx(np.log(np.exp(-0.5) + 1e-3))
    assert wardrobe.fit(known[0] + (9, 0, 0)) == pytest.approx(np.log(np.exp(-0.25) + 1e-3))  # lightness counts half


def test_a_fit_is_the_parzen_estimate_by_the_plain_formula():
    known, seen = learn(wearing((60, 10, -5), 40, 1)), wearing((55, 14, 0), 3, 2)
    seen[1, 4], seen[2] = np.nan, np.nan
    plain = np.full((3, PARTS), np.nan)
    for i, part in product(range(2), range(PARTS)):
        places = [place for place in seen[i, part == PART].astype(float) if np.isfinite(place).all()]
        kernels = [np.exp(-((place - known.parts[part]) ** 2 * (LIGHTNESS, 1, 1)).sum(1) / (2 * BANDWIDTH**2)) for place in places]
        plain[i, part] = np.mean([np.log(k.mean() + STRANGE) for k in kernels])
    assert known.fit(seen)[:2] == pytest.approx(plain[:2].mean(1), abs=1e-4) and np.isnan(known.fit(seen)[2])
