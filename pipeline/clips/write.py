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


class ClipWriter:
    """A clip being written, picture by picture: (h, w, 3) uint8 RGB as stored, all of one even size, at increasing seconds.

    `quality` is x264's constant rate factor. One thread, as a worker has one core, and each more keeps pictures of its own.
    """

    def __init__(self, path: Path, *, made_on: datetime | None = None, quality: int = 23, preset: str = "veryfast") -> None:
        self._options: dict[str, object] = {"crf": str(quality), "preset": preset}
        self._container = av.open(str(path), "w")
        self._stream: av.VideoStream | None = None
        if made_on is not None:
            self._container.metadata["creation_time"] = made_on.isoformat()

    def add(self, image: np.ndarray, t: float) -> None:
        """Write the picture shown from `t` on."""
        if self._stream is None:
            self._stream = self._container.add_stream("libx264", rate=30)
            self._stream.height, self._stream.width = image.shape[:2]
            self._stream.pix_fmt = "yuv420p"
            self._stream.options = self._options
            self._stream.codec_context.time_base = TIME_BASE
            self._stream.codec_context.thread_count = 1
        frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(image), format="rgb24")
        frame.pts, frame.time_base = round(t / TIME_BASE), TIME_BASE
        self._container.mux(self._stream.encode(frame))

    def close(self) -> None:
        """Write what is still held back, and the end of the file."""
        try:
            if self._stream is not None:
                self._container.mux(self._stream.encode())
        finally:
            self._container.close()

    def __enter__(self) -> ClipWriter:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()


def write_clip(
    path: Path, images: Iterable[np.ndarray], times: Iterable[float], *,
    rotation: int = 0, made_on: datetime | None = None, quality: int = 23, preset: str = "veryfast",
) -> None:  # fmt: skip
    """Write one clip of `images` at `times`, see ClipWriter.

    `rotation` (mp4 and mov only) is how many degrees clockwise a player turns the stored picture to show it upright.
    """
    if rotation not in MATRIX:
        raise ValueError(f"rotation should be 0, 90, 180 or 270, but is {rotation}.")
    with ClipWriter(path, made_on=made_on, quality=quality, preset=preset) as clip:
        for image, t in zip(images, times, strict=True):
            clip.add(image, t)
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
