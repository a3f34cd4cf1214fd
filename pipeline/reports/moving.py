"""An attempt as a small silent clip in which nobody can be recognised, and where its joints are in every frame of it.

Two files lie beside the attempt's pictures: NAME.mp4 and NAME.json (times and points, in the small clip's pixels), so that
the page can draw the measured line over the moving picture, in step with the curve.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

import cv2
import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.clips.video import UnreadableClip, frames
from pipeline.clips.write import write_clip
from pipeline.files import write_whole
from pipeline.landmarks.track import INDEX, Track
from pipeline.measures.reading import Reading
from pipeline.reports.blur import all_blurred, head_doubt, only_the_athlete, torso_length
from pipeline.reports.cut import cut_box
from pipeline.reports.files import slug
from pipeline.reports.motion import FOLDER, Motion, line_key

LONGEST_SIDE, DECODED_SIDE = 560, 1920
BEFORE_AND_AFTER_S = 0.4
QUALITY, PRESET = 29, "faster"


def take_moving(
    path: Path, track: Track, attempt: Attempt, readings: Sequence[Reading], *, link: str, folder: Path, blur: bool = True
) -> bool:
    """Write the attempt's moving picture below `folder`/pictures; False where there is nothing to show.

    A clip that breaks midway gives the frames before the break.
    """
    rows = np.flatnonzero((track.t >= attempt.start_s - BEFORE_AND_AFTER_S) & (track.t <= attempt.end_s + BEFORE_AND_AFTER_S))
    inside = track.xy[(track.t >= attempt.start_s) & (track.t <= attempt.end_s)]
    torso = torso_length(inside)
    if len(rows) < 2 or not np.isfinite(torso):
        return False
    box = cut_box(track.xy[rows].reshape(-1, 2), torso, *track.size)
    wide, high = box[2] - box[0], box[3] - box[1]
    scale = min(1.0, LONGEST_SIDE / max(wide, high))
    size = (max(2, round(wide * scale / 2) * 2), max(2, round(high * scale / 2) * 2))  # H.264 wants even sides
    made = folder / FOLDER / f"{slug(link)}.mp4"
    made.parent.mkdir(parents=True, exist_ok=True)
    part = made.with_name(f".{made.stem}.{os.getpid()}.part.mp4")
    shown: list[int] = []
    try:
        images = _images(path, track, rows, torso, box, size, blur, shown)
        write_clip(part, images, _times(track, shown), quality=QUALITY, preset=PRESET)
        if len(shown) < 2:
            return False
        os.replace(part, made)
    finally:
        part.unlink(missing_ok=True)
    across, down = size[0] / wide, size[1] / high
    places = (track.xy[shown] - (box[0], box[1])) * (across, down)
    names = dict.fromkeys(name for reading in readings for name in reading.line)
    motion = Motion(
        round(float(track.t[shown[0]]), 4), *size, [round(float(track.t[row] - track.t[shown[0]]), 4) for row in shown],
        {name: [_point(p) for p in places[:, INDEX[name]]] for name in names},
        {line_key(reading.detail, reading.side): list(reading.line) for reading in readings if len(reading.line) > 1},
    )  # fmt: skip
    write_whole(made.with_suffix(".json"), json.dumps(asdict(motion), separators=(",", ":")))
    return True


def _images(
    path: Path, track: Track, rows: np.ndarray, torso: float, box: tuple[int, int, int, int], size: tuple[int, int], blur: bool, shown: list[int]
) -> Iterator[np.ndarray]:  # fmt: skip
    """The small clip's pictures, one for each of the track's rows; `shown` is filled with the rows that were given."""
    wanted = min(DECODED_SIDE, round(LONGEST_SIDE * max(track.size) / max(box[2] - box[0], box[3] - box[1])))
    left = list(rows)
    try:
        for frame in frames(path, longest_side=max(wanted, LONGEST_SIDE), start=float(track.t[left[0]]) if left else 0.0):
            if not left:
                return
            if frame.t < track.t[left[0]] - 1e-4:
                continue
            row = int(left.pop(0))
            x0, y0, x1, y1 = (round(v * frame.scale) for v in box)
            small = cv2.resize(frame.image[y0:y1, x0:x1], size, interpolation=cv2.INTER_AREA)
            shown.append(row)
            yield _covered(small, track, row, torso, box) if blur else small
    except UnreadableClip:
        return


def _times(track: Track, shown: list[int]) -> Iterator[float]:
    """The time of each picture given so far, from the first; ends when the pictures do."""
    given = 0
    while given < len(shown):
        yield float(track.t[shown[given]] - track.t[shown[0]])
        given += 1


def _covered(small: np.ndarray, track: Track, row: int, torso: float, box: tuple[int, int, int, int]) -> np.ndarray:
    """The cut-out picture with nobody recognisable in it. Covered after cutting: the picture is small then."""
    scale = np.array([small.shape[1] / (box[2] - box[0]), small.shape[0] / (box[3] - box[1])])
    largest = float(scale.max())
    xy = (track.xy[row] - (box[0], box[1])) * scale
    covered = only_the_athlete(small, xy, torso * largest, doubt=head_doubt(track, row) * largest)
    return all_blurred(small, torso * largest) if covered is None else covered


def _point(place: np.ndarray) -> list[float] | None:
    return [round(float(place[0]), 1), round(float(place[1]), 1)] if np.isfinite(place).all() else None
