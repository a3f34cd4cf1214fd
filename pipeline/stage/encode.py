"""Pictures -> an H.264 clip with true times, and, where wanted, stored turned with the turn noted for players."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import numpy as np

TICKS = 90_000


def write_clip(
    path: Path, pictures: Iterable[np.ndarray], times: np.ndarray, *, crf: int = 27, turn: int = 0, preset: str = "medium"
) -> None:
    """Write (h, w, 3) uint8 RGB pictures shown at `times` seconds.

    turn : 0, 90, 180 or 270, clockwise degrees a player must turn the stored picture; the pictures given are as displayed.
    """
    import av

    path = Path(path)
    with av.open(str(path), "w", options={"movflags": "+faststart"} if not turn else {}) as out:
        stream = None
        for picture, at in zip(pictures, times, strict=True):
            stored = np.ascontiguousarray(np.rot90(picture, turn // 90))
            if stream is None:
                stream = out.add_stream("libx264", rate=30)
                stream.height, stream.width = stored.shape[:2]
                stream.pix_fmt = "yuv420p"
                stream.time_base = Fraction(1, TICKS)
                stream.codec_context.time_base = Fraction(1, TICKS)
                stream.options = {"crf": str(crf), "preset": preset, "g": "60", "bf": "2", "threads": "1"}
            frame = av.VideoFrame.from_ndarray(stored, format="rgb24")
            frame.pts = round(at * TICKS)
            frame.time_base = Fraction(1, TICKS)
            out.mux(stream.encode(frame))
        if stream is None:
            raise ValueError(f"{path.name}: no pictures to write.")
        out.mux(stream.encode())
    if turn:
        note_turn(path, turn, stored.shape[1], stored.shape[0])


def note_turn(path: Path, turn: int, width: int, height: int) -> None:
    """Write the turn into the track header's matrix (ISO/IEC 14496-12, 8.3.2): 16.16 numbers, the last column 2.30."""
    data = bytearray(path.read_bytes())
    a, b, c, d, x, y = {90: (0, 1, -1, 0, height, 0), 180: (-1, 0, 0, -1, width, height), 270: (0, -1, 1, 0, 0, width)}[turn]
    one = 1 << 16
    matrix = struct.pack(">9i", a * one, b * one, 0, c * one, d * one, 0, x * one, y * one, 1 << 30)
    at = data.find(b"tkhd")
    if at < 0:
        raise ValueError(f"{path.name}: no track header to write the turn into.")
    version = data[at + 4]
    start = at + 4 + 4 + (32 if version == 1 else 20) + 16
    data[start : start + 36] = matrix
    path.write_bytes(bytes(data))
