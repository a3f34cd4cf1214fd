"""An attempt and its clip in, the key frame of each reading out: nobody recognisable in it, the measured line beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.clips.video import Frame, UnreadableClip, frames
from pipeline.landmarks.track import INDEX, Track
from pipeline.measures.reading import Reading
from pipeline.reports.blur import HEAD, only_the_athlete, torso_length
from pipeline.reports.files import slug, write_whole
from pipeline.store import Picture

LONGEST_SIDE = 960
JPEG_QUALITY = 82
FOLDER = "pictures"


def take_pictures(
    path: Path, track: Track, attempt: Attempt, readings: Sequence[Reading], *, link: str, folder: Path, blur: bool = True
) -> list[Picture]:
    """Write the key frame of each reading below `folder`/pictures (the data folder) and say where and with which line.

    A reading without a moment of its own gets the middle of the key window, without a line. Readings of the same moment
    share one file. No picture is taken where the athlete is not followed, as then no face could be covered for certain.
    The line is not drawn into the picture: the page draws it, so that new tolerances recolour it.
    """
    wanted = {reading: _row(track, attempt, reading) for reading in readings}
    rows = sorted({row for row in wanted.values() if row is not None})
    torso = torso_length(track.xy[(track.t >= attempt.start_s) & (track.t <= attempt.end_s)])
    files: dict[int, tuple[str, int, int, float]] = {}
    for row, frame in _frames_at(path, track.t, rows):
        image: np.ndarray | None = frame.image
        if blur:
            image = only_the_athlete(frame.image, track.xy[row] * frame.scale, torso * frame.scale, doubt=_doubt(track, row) * frame.scale)
        if image is None:
            continue
        name = f"{FOLDER}/{slug(link)}_{round(track.t[row] * 1000):06d}.jpg"
        _write_jpeg(folder / name, image)
        files[row] = (name, image.shape[1], image.shape[0], frame.scale)
    return [_picture(reading, track, row, *files[row]) for reading, row in wanted.items() if row in files]


def _row(track: Track, attempt: Attempt, reading: Reading) -> int | None:
    """The track's row nearest to the moment read; None where the athlete is not seen there."""
    at = reading.at_s if np.isfinite(reading.at_s) else (attempt.key_start_s + attempt.key_end_s) / 2
    if not len(track):
        return None
    row = int(np.argmin(np.abs(track.t - at)))
    return row if track.seen[row] else None


def _frames_at(path: Path, t: np.ndarray, rows: Sequence[int]) -> Iterator[tuple[int, Frame]]:
    """The frames of the wanted track rows (ascending); a clip that breaks midway gives those before the break."""
    left = list(rows)
    if not left:
        return
    try:
        for frame in frames(path, longest_side=LONGEST_SIDE):
            while left and frame.t >= t[left[0]] - 1e-4:
                yield left.pop(0), frame
            if not left:
                return
    except UnreadableClip:
        return


def _doubt(track: Track, row: int) -> float:
    """Pixels by which the passes disagree about the head."""
    apart = track.disagreement[row, list(HEAD)]
    apart = apart[np.isfinite(apart)]
    return float(np.median(apart)) if len(apart) else 0.0


def _write_jpeg(path: Path, image: np.ndarray) -> None:
    ok, data = cv2.imencode(".jpg", cv2.cvtColor(image, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not ok:
        raise ValueError(f"{path.name}: a picture of shape {image.shape} could not be packed.")
    write_whole(path, data.tobytes())


def _picture(reading: Reading, track: Track, row: int, file: str, width: int, height: int, scale: float) -> Picture:
    line = [INDEX[name] for name in reading.line] if np.isfinite(reading.at_s) else []
    points = track.xy[row, line] * scale
    points = points[np.isfinite(points).all(axis=1)]
    kept = points if len(points) == len(line) and len(line) >= 2 else points[:0]  # never a line with a joint left out
    return Picture(reading.detail, reading.side, file, width, height, tuple((round(float(x), 1), round(float(y), 1)) for x, y in kept))
