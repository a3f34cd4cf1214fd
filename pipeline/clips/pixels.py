"""A decoded picture in, RGB of the wanted size out, in the colours the camera meant."""

from __future__ import annotations

import av
import numpy as np
from av.video.reformatter import VideoReformatter

BT709, BT2020, DEFAULT_COLOURS, FULL_RANGE, LIMITED_RANGE = 1, 9, 5, 2, 1  # FFmpeg's and swscale's numbers
# Their shares of luma: ITU-R BT.709, BT.2020, BT.601.
RED_BLUE = {BT709: (0.2126, 0.0722), BT2020: (0.2627, 0.0593), DEFAULT_COLOURS: (0.299, 0.114)}
PLANAR = ("yuv420p", "yuvj420p")  # what nearly every phone's clip decodes to
LUMA_AND_COLOUR = ("yuv", "nv12", "p010")


def rgb(scaler: VideoReformatter, raw: av.VideoFrame, size: tuple[int, int]) -> np.ndarray:
    """(height, width, 3) uint8, contiguous. size : (width, height).

    A picture made smaller is scaled plane by plane and turned into RGB only when it is small: four times as fast as scaling and
    turning in one go, for the same picture.
    """
    colours, limits = _meant(raw)
    smaller = size[0] < raw.width and size[1] < raw.height and min(size) > 1
    if not smaller or not raw.format.name.startswith(LUMA_AND_COLOUR):
        return scaler.reformat(
            raw, width=size[0], height=size[1], format="rgb24", src_colorspace=colours, dst_colorspace=DEFAULT_COLOURS,
            src_color_range=limits, dst_color_range=LIMITED_RANGE,
        ).to_ndarray()  # fmt: skip
    if raw.format.name not in PLANAR or raw.width % size[0] or raw.height % size[1]:
        raw = scaler.reformat(
            raw, width=size[0], height=size[1], format="yuv420p", src_colorspace=colours, dst_colorspace=colours,
            src_color_range=limits, dst_color_range=LIMITED_RANGE,
        )  # fmt: skip
        limits = LIMITED_RANGE
    return _to_rgb([_plane(raw, i) for i in range(3)], size, colours, limits)


def rgb_of_part(scaler: VideoReformatter, raw: av.VideoFrame, box: tuple[float, float, float, float], size: tuple[int, int]) -> np.ndarray:
    """(height, width, 3) uint8, contiguous, of one part of the picture brought to `size` (width, height); nothing else is worked on.

    box : left, top, right, bottom in the decoder's pixels; rounded to even ones, as two of them share a colour.
    """
    import cv2

    left, top = (min(max(0, round(v / 2) * 2), most - 2) for v, most in zip(box[:2], (raw.width, raw.height), strict=True))
    right, bottom = (max(low + 2, round(v / 2) * 2) for v, low in zip(box[2:], (left, top), strict=True))
    colours, limits = _meant(raw)
    if not raw.format.name.startswith(LUMA_AND_COLOUR):
        whole = rgb(scaler, raw, (raw.width, raw.height))
        return cv2.resize(whole[top:bottom, left:right], size, interpolation=cv2.INTER_AREA)
    if raw.format.name not in PLANAR:
        raw = scaler.reformat(
            raw, format="yuv420p", src_colorspace=colours, dst_colorspace=colours, src_color_range=limits, dst_color_range=LIMITED_RANGE,
        )  # fmt: skip
        limits = LIMITED_RANGE
    luma, *chroma = (_plane(raw, i) for i in range(3))
    halves = [plane[top // 2 : (bottom + 1) // 2, left // 2 : (right + 1) // 2] for plane in chroma]
    return _to_rgb([luma[top:bottom, left:right], *halves], size, colours, limits)


def _meant(raw: av.VideoFrame) -> tuple[int, int]:
    """The picture's colours and range as FFmpeg numbers them."""
    return raw.colorspace if raw.colorspace in (
        BT709,
        BT2020,
    ) else DEFAULT_COLOURS, FULL_RANGE if raw.color_range == FULL_RANGE else LIMITED_RANGE


def _plane(raw: av.VideoFrame, number: int) -> np.ndarray:
    """One plane as it lies in the decoder's memory, without the padding at the end of its lines."""
    plane = raw.planes[number]
    lines = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)  # type: ignore[call-overload]
    return lines[: plane.height, : plane.width]


def _to_rgb(planes: list[np.ndarray], size: tuple[int, int], colours: int, limits: int) -> np.ndarray:
    """Luma and the two colour planes, each brought to the size by itself, then mixed."""
    import cv2

    sized = []
    for plane in planes:
        if plane.shape != size[::-1]:
            plane = cv2.resize(plane, size, interpolation=cv2.INTER_AREA if plane.shape[1] > size[0] else cv2.INTER_LINEAR)
        sized.append(plane)
    return cv2.transform(cv2.merge(sized), mixing(colours, limits))


def mixing(colours: int, limits: int) -> np.ndarray:
    """(3, 4) float32 from Y, Cb, Cr and 1 to R, G, B, all of 0 to 255 (ITU-R BT.601-7 and BT.709-6, sections on the digital coding)."""
    red, blue = RED_BLUE[colours]
    green = 1 - red - blue
    y, c, black = (1.0, 1.0, 0.0) if limits == FULL_RANGE else (255 / 219, 255 / 224, 16.0)
    to_red, to_blue = 2 * (1 - red) * c, 2 * (1 - blue) * c
    matrix = np.array([[y, 0, to_red, 0], [y, -to_blue * blue / green, -to_red * red / green, 0], [y, to_blue, 0, 0]])
    matrix[:, 3] = -matrix[:, :3] @ (black, 128, 128)
    return matrix.astype(np.float32)
