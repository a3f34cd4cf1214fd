"""A look from near by at a cartwheel while she is upside down: the angles of both knees, frame by frame, as a small network tells them.

A knee bent towards the phone looks straight by its points. The small network of the near look, tuned for such crops of cartwheels seen from the
front or from behind (models/CARD_CARTWHEELS.md), and its head were taught the angle in space. Points are not moved.

Kept beside the track as Parquet, one row a frame: `start` and `end` (seconds, of the key window), `track` (sha256 of the frames looked at as they
are followed: another track is looked at anew), `t` (seconds), `left` and `right` (degrees; infinite where a joint is seen elsewhere, null
where one lies beyond the crop). The file's name begins as the track's does, so that whoever forgets a clip forgets both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from pipeline.landmarks import models
from pipeline.landmarks.cache import cache_file, write_table
from pipeline.landmarks.near import Near, seen_near
from pipeline.landmarks.near_angles import HIP_PAIR, KNEES, SHOULDERS
from pipeline.landmarks.near_frames import DIGITS, Key, Window, bodies_at, kept_key, key_of, look_at_new
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import CartwheelLook, Track

METHOD = 1  # raise when the code sees something else in the same frames
FRAMES = 14  # looked at in a key window, each plain and mirrored: with 8 knees are read 0.1 degrees further off (817 drawn legs)
AROUND_S = 0.05  # before and after it, for the plots


def looked_at(track: Track, window: Window) -> np.ndarray:
    """Rows of the track, FRAMES at most, spread over a key window; only frames in which the trunk is known."""
    inside = (track.t >= window[0] - AROUND_S) & (track.t <= window[1] + AROUND_S)
    rows = np.flatnonzero(inside & np.isfinite(track.xy[:, [*SHOULDERS, *HIP_PAIR]]).all(axis=(1, 2)))
    return rows[np.unique(np.linspace(0, len(rows) - 1, min(len(rows), FRAMES)).astype(int))] if len(rows) else rows


def look(near: Near, path: Path, track: Track, window: Window, *, longest_side: int) -> CartwheelLook | None:
    """What the network tells of a key window; None where no frame of it could be looked at. longest_side: of the pictures worked on, pixels."""
    rows, moments, knees = looked_at(track, window), [], []
    for number, image, body in bodies_at(path, track, rows, longest_side):
        moments.append(float(track.t[rows[number]]))
        knees.append(seen_near(near, image, body).angles[list(KNEES)])
    return CartwheelLook(*window, np.array(moments), np.round(np.array(knees), DIGITS)) if moments else None


def looks(
    path: Path, content_hash: str, track: Track, windows: Sequence[Window], settings: LandmarkSettings, folder: Path
) -> tuple[CartwheelLook, ...]:
    """What is told of each key window, from `folder` where it is kept; none where no network for it is installed or chosen."""
    model = models.cartwheel_model(models.landmark_model(settings.model), settings.near_look)
    if model is None or not windows:
        return ()
    file = kept_file(content_hash, settings, folder)
    known, keys = _read(file), [key_of(track, window, looked_at(track, window)) for window in windows]
    if look_at_new(known, windows, keys, model, lambda near, window: look(near, path, track, window, longest_side=settings.longest_side)):
        _write(file, known)
    return tuple(replace(known[key], start=start, end=end) for (start, end), key in zip(windows, keys, strict=True) if key in known)


def kept_file(content_hash: str, settings: LandmarkSettings, folder: Path) -> Path:
    """Where what was told of a clip of these bytes lies under these settings."""
    model = models.cartwheel_model(models.landmark_model(settings.model), settings.near_look)
    key = model.key if model else "none"
    return folder / f"{cache_file(content_hash, settings, folder).stem}_cartwheels-{key}-{METHOD}-{FRAMES}.parquet"


Known = dict[Key, CartwheelLook]


def _read(file: Path) -> Known:
    """What was told, by key window; nothing where the file is missing or broken: then they are looked at again."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not file.is_file():
        return {}
    try:
        table = pq.read_table(file).to_pandas()
        return {
            kept_key(start, end, of): CartwheelLook(start, end, rows["t"].to_numpy(float), rows[["left", "right"]].to_numpy(float))
            for (start, end, of), rows in table.groupby(["start", "end", "track"], sort=False)
        }
    except (pa.ArrowException, OSError, KeyError, ValueError, TypeError):
        return {}


def _write(file: Path, known: Known) -> None:
    """Whole or not at all."""
    import pyarrow as pa

    rows = [
        (start, end, of, float(t), *(float(knee) for knee in knees))
        for (start, end, of), seen in known.items()
        for t, knees in zip(seen.t, seen.knees, strict=True)
    ]
    columns = dict(zip(("start", "end", "track", "t", "left", "right"), zip(*rows, strict=True), strict=True))
    write_table(pa.table({name: pa.array(values, from_pandas=True) for name, values in columns.items()}), file)
