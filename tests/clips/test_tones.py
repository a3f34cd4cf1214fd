"""High dynamic range brought to what a plain screen shows, against the figures of the standards."""

from fractions import Fraction

import av
import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.clips.pixels import BT2020, FULL_RANGE, mixing
from pipeline.clips.tones import HLG, PQ, hlg_light, plain, pq_light, tones
from pipeline.clips.video import moments


def test_light_is_that_of_the_standards():
    """ITU-R BT.2408-7, table 1: reference white 203 cd/m2 is 58 % of PQ and 75 % of HLG; ST 2084: 100 % is 10,000, 51 % about 100 (from memory)."""
    assert_allclose(pq_light(np.array([0.0, 0.508, 0.581, 1.0])), [0, 100, 203, 10_000], rtol=0.02, atol=1e-6)
    assert_allclose(hlg_light(np.array([0.0, 0.75, 1.0])), [0, 203, 1000], rtol=0.01, atol=1e-6)


@pytest.mark.parametrize(("transfer", "white"), [(PQ, 0.581), (HLG, 0.75)])
def test_white_is_nearly_white_and_nothing_brighter_is_lost(transfer, white):
    curve = tones(transfer).astype(int)
    assert curve[0] == 0 and (np.diff(curve) >= 0).all()
    assert 240 <= curve[round(255 * white)] <= 250 and curve[255] >= 254


def test_greys_stay_grey_and_colours_of_the_wider_space_stay_inside():
    grey = np.full((2, 3, 3), 120, np.uint8)
    shown = plain(grey, HLG)
    assert np.ptp(shown) <= 1
    green = np.zeros((1, 1, 3), np.uint8)
    green[..., 1] = 200
    assert plain(green, HLG)[0, 0].tolist()[::2] == [0, 0]


@pytest.mark.parametrize("transfer", [0, 1, 2, 6, 13, 14])
def test_plain_pictures_are_left_alone(transfer):
    image = np.arange(12, dtype=np.uint8).reshape(2, 2, 3)
    assert plain(image, transfer) is image


def test_the_wider_spaces_matrix_is_that_of_the_standard():
    """ITU-R BT.2020-2, table 4: R = Y + 1.4746 Cr, B = Y + 1.8814 Cb."""
    assert_allclose(mixing(BT2020, FULL_RANGE)[[0, 2], [2, 1]], [1.4746, 1.8814], atol=1e-3)


def test_a_clip_that_says_it_is_pq_is_brought_down(tmp_path):
    path, code = tmp_path / "hdr.mp4", round(16 + 219 * 0.581)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        stream.codec_context.color_trc, stream.codec_context.colorspace, stream.codec_context.color_primaries = PQ, BT2020, 9
        for i in range(3):
            frame = av.VideoFrame(64, 48, "yuv420p")
            for plane, value in zip(frame.planes, (code, 128, 128), strict=True):
                plane.update(bytes([value]) * (plane.line_size * plane.height))
            frame.pts, frame.time_base = i, Fraction(1, 30)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    moment = next(moments(path))
    assert_allclose(moment.frame().image.mean((0, 1)), 246, atol=4)
    assert_allclose(moment.part((8, 8, 40, 40), (16, 16)).mean((0, 1)), 246, atol=4)
