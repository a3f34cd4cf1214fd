"""Small clips for tests, made on the spot: a card with one blue corner, so that every turn and mirror can be told."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np

from pipeline.clips.write import write_clip

CARD = (96, 128)  # height, width as stored
CORNER = (16, 32)  # the blue corner at the stored picture's top left
RED, BLUE = (200, 40, 30), (0, 0, 255)


def card(shade: int = 0, size: tuple[int, int] = CARD) -> np.ndarray:
    """(h, w, 3) uint8 RGB."""
    image = np.full((*size, 3), RED, np.uint8)
    image[..., 1] += np.uint8(shade)
    image[: CORNER[0], : CORNER[1]] = BLUE
    return image


def film(path: Path, times=None, *, size: tuple[int, int] = CARD, **options) -> Path:
    """A clip whose green rises by 4 with each frame; 1 s at 30 frames a second unless `times` say otherwise."""
    times = [i / 30 for i in range(30)] if times is None else times
    path.parent.mkdir(parents=True, exist_ok=True)
    write_clip(path, (card(4 * (i % 40), size) for i in range(len(times))), times, preset="ultrafast", **options)
    return path


def record_sound(path: Path) -> Path:
    """A file with a second of silence and no picture."""
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("aac", rate=44100)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        frame.sample_rate = 44100
        for i in range(43):
            frame.pts = i * 1024
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def blue_box(image: np.ndarray) -> tuple[int, int, int, int]:
    """(top, bottom, left, right), inclusive, of the blue corner."""
    rows, columns = np.nonzero((image[..., 2] > 150) & (image[..., 0] < 100))
    return rows.min(), rows.max(), columns.min(), columns.max()
