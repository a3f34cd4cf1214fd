"""Frames in, a small H.264 file out: for sample clips and for tests. True timestamps, and a stored rotation where asked for."""

from __future__ import annotations

import os
import struct
from collections.abc import Iterable
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

TIME_BASE = Fraction(1, 90_000)
MATRIX = {0: (1, 0, 0, 1), 90: (0, 1, -1, 0), 180: (-1, 0, 0, -1), 270: (0, -1, 1, 0)}  # stored (x, y) -> (ax + cy, bx + dy)
TKHD_MATRIX_AT = {0: 40, 1: 52}  # bytes from the box's version byte to its matrix, by version (ISO/IEC 14496-12, 8.3.2)


def write_clip(
    path: Path, images: Iterable[np.ndarray], times: Iterable[float], *,
    rotation: int = 0, made_on: datetime | None = None, quality: int = 23, preset: str = "veryfast",
) -> None:  # fmt: skip
    """Write one clip. `images` are (h, w, 3) uint8 RGB as stored, all of one even size; `times` are seconds, increasing.

    `rotation` (mp4 and mov only) is how many degrees clockwise a player turns the stored picture to show it upright;
    `quality` is x264's constant rate factor.
    """
    if rotation not in MATRIX:
        raise ValueError(f"rotation should be 0, 90, 180 or 270, but is {rotation}.")
    with av.open(str(path), "w") as container:
        if made_on is not None:
            container.metadata["creation_time"] = made_on.isoformat()
        stream = None
        for image, t in zip(images, times, strict=True):
            if stream is None:
                stream = container.add_stream("libx264", rate=30)
                stream.height, stream.width = image.shape[:2]
                stream.pix_fmt = "yuv420p"
                stream.options = {"crf": str(quality), "preset": preset}
                stream.codec_context.time_base = TIME_BASE
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(image), format="rgb24")
            frame.pts, frame.time_base = round(t / TIME_BASE), TIME_BASE
            container.mux(stream.encode(frame))
        if stream is not None:
            container.mux(stream.encode())
    if rotation:
        _store_rotation(path, rotation)


def _store_rotation(path: Path, rotation: int) -> None:
    """Write the turn into the track header, as a phone held upright does."""
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4
    start = at + TKHD_MATRIX_AT[data[at]]
    a, b, c, d = (v << 16 for v in MATRIX[rotation])
    data[start : start + 36] = struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30)
    part = path.with_name(path.name + ".part")
    part.write_bytes(data)
    os.replace(part, path)
