"""Pictures made smaller keep the colours that the camera meant, and their places, whichever way the decoder hands them out."""

import av
import numpy as np
import pytest
from av.video.reformatter import VideoReformatter
from numpy.testing import assert_allclose

from pipeline.clips.pixels import BT709, DEFAULT_COLOURS, FULL_RANGE, LIMITED_RANGE, mixing, rgb

SIZE = (96, 64)  # width, height of the big picture


def decoded(planes, *, name="yuv420p", colours=DEFAULT_COLOURS, limits=LIMITED_RANGE, size=SIZE):
    """A frame as a decoder gives it, each plane of one value or as an array."""
    frame = av.VideoFrame(*size, name)
    for plane, values in zip(frame.planes, planes, strict=True):
        lines = np.zeros((plane.height, plane.line_size), np.uint8)
        lines[:, : plane.width] = values
        plane.update(lines)
    frame.colorspace, frame.color_range = colours, limits
    return frame


# 75 % colour bars, 8 bit: ITU-R BT.601 as in SMPTE EG 1; of BT.709 as in SMPTE RP 219 (values from memory), R'G'B' at 0.75 * 255 = 191
@pytest.mark.parametrize(
    ("colours", "ycc", "seen"),
    [
        (DEFAULT_COLOURS, (180, 128, 128), (191, 191, 191)),
        (DEFAULT_COLOURS, (65, 100, 212), (191, 0, 0)),
        (DEFAULT_COLOURS, (35, 212, 114), (0, 0, 191)),
        (BT709, (180, 128, 128), (191, 191, 191)),
        (BT709, (51, 109, 212), (191, 0, 0)),
        (BT709, (28, 212, 120), (0, 0, 191)),
        (BT709, (133, 63, 52), (0, 191, 0)),
    ],
)
@pytest.mark.parametrize("size", [(48, 32), (40, 30), (24, 16)])
def test_colour_bars_are_seen_as_they_are_defined(colours, ycc, seen, size):
    image = rgb(VideoReformatter(), decoded(ycc, colours=colours), size)
    assert image.shape == (size[1], size[0], 3) and image.dtype == np.uint8 and image.flags.c_contiguous
    assert_allclose(image.reshape(-1, 3), np.tile(seen, (size[0] * size[1], 1)), atol=3)


@pytest.mark.parametrize("size", [(48, 32), (40, 30)])
def test_full_range_needs_no_stretching(size):
    """JFIF: with the full range, luma of a grey is the grey."""
    image = rgb(VideoReformatter(), decoded((200, 128, 128), limits=FULL_RANGE), size)
    assert_allclose(image, 200, atol=2)


def test_the_matrix_is_that_of_the_standard():
    """ITU-R BT.601 for the full range: R = Y + 1.402 Cr, G = Y - 0.344 Cb - 0.714 Cr, B = Y + 1.772 Cb (JFIF 1.02, page 3)."""
    assert_allclose(mixing(DEFAULT_COLOURS, FULL_RANGE)[:, :3], [[1, 0, 1.402], [1, -0.34414, -0.71414], [1, 1.772, 0]], atol=1e-4)


def scene(rng):
    """Planes with soft shapes, four times as large as SIZE: FFmpeg gives every second pixel across its neighbour's colour."""
    import cv2

    soft = [cv2.GaussianBlur(rng.uniform(0, 255, (256, 384)).astype(np.float32), (0, 0), 24) for _ in range(3)]
    soft = [(s - s.min()) / (s.max() - s.min()) for s in soft]
    return 40 + 170 * soft[0], 100 + 56 * soft[1][::2, ::2], 100 + 56 * soft[2][::2, ::2]


@pytest.mark.parametrize("size", [(192, 128), (96, 64), (128, 80), (280, 200), (383, 255)])
@pytest.mark.parametrize(("colours", "limits"), [(DEFAULT_COLOURS, LIMITED_RANGE), (BT709, LIMITED_RANGE), (DEFAULT_COLOURS, FULL_RANGE)])
def test_soft_shapes_keep_their_places_and_colours(size, colours, limits):
    """Beside the same worked out in real numbers, and beside FFmpeg's own scaler to RGB, which rounds more than ours."""
    import cv2

    planes = scene(np.random.default_rng(4))
    frame = decoded(planes, colours=colours, limits=limits, size=(384, 256))
    image = rgb(VideoReformatter(), frame, size).astype(float)
    sized = [cv2.resize(np.floor(p).astype(np.float32), size, interpolation=cv2.INTER_AREA) for p in planes]
    exact = np.stack([*sized, np.ones_like(sized[0])], -1) @ mixing(colours, limits).T.astype(float)
    assert np.abs(image - exact).mean() < 1.0 and np.abs(image - exact).max() <= 6
    general = VideoReformatter().reformat(
        frame, *size, "rgb24", src_colorspace=colours, dst_colorspace=DEFAULT_COLOURS, src_color_range=limits, dst_color_range=LIMITED_RANGE
    )
    assert np.abs(image - general.to_ndarray()).mean() < 2.5 and np.abs(image - general.to_ndarray()).max() <= 10


@pytest.mark.parametrize("name", ["nv12", "yuv422p", "yuv444p", "yuv420p10le", "gray", "rgb24"])
def test_what_rarer_cameras_give_is_scaled_too(name):
    grey = VideoReformatter().reformat(decoded((126, 128, 128)), format=name)
    image = rgb(VideoReformatter(), grey, (48, 32))
    assert image.shape == (32, 48, 3)
    assert_allclose(image, (126 - 16) * 255 / 219, atol=3)


def test_a_picture_that_is_not_made_smaller_is_turned_as_it_is():
    image = rgb(VideoReformatter(), decoded((126, 128, 128)), SIZE)
    assert image.shape == (64, 96, 3)
    assert_allclose(image, (126 - 16) * 255 / 219, atol=2)
