"""An attempt and its clip in, the key frame of each reading out: nobody recognisable in it, the measured line beside it."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.clips.video import Frame, moments_at
from pipeline.landmarks.track import INDEX, Track
from pipeline.measures.reading import Reading
from pipeline.reports.blur import head_doubt, only_the_athlete, torso_length
from pipeline.reports.cut import cut_box
from pipeline.reports.files import slug, write_changed
from pipeline.reports.motion import FOLDER
from pipeline.reports.moving import MovingPicture
from pipeline.store import Picture

DECODED_SIDE, LONGEST_SIDE = 1920, 960  # pixels: of the frame worked on, and of the picture cut out of it
JPEG_QUALITY = 82


def take_pictures(
    path: Path,
    track: Track,
    attempt: Attempt,
    readings: Sequence[Reading],
    *,
    link: str,
    folder: Path,
    blur: bool = True,
    moving: bool = True,
) -> list[Picture]:
    """Write the key frame of each reading below `folder`/pictures (the data folder) and say where and with which line.

    A reading without a moment of its own gets the middle of the key window, without a line. Readings of the same moment
    share one file. No picture is taken where the athlete is not followed, as then no face could be covered for certain.
    With `moving`, the attempt's moving picture is taken as well. The line is not drawn into the picture: the page draws it, so that new tolerances recolour it.
    """
    wanted = {reading: _row(track, attempt, reading) for reading in readings}
    rows = {row for row in wanted.values() if row is not None}
    torso = torso_length(track.xy[(track.t >= attempt.start_s) & (track.t <= attempt.end_s)])
    taken: dict[int, _Taken] = {}
    with MovingPicture(track, attempt, readings, link=link, folder=folder, blur=blur) if moving else nullcontext() as motion:
        moved = set(motion.rows.tolist()) if motion else set()
        both = sorted(rows | moved)
        for number, moment in moments_at(path, track.t[both].tolist()):  # once through the clip for all of them
            row = both[number]
            if row in rows:
                one = _take(moment.frame(DECODED_SIDE), track, row, torso, f"{FOLDER}/{slug(link)}", folder, blur)
                taken |= {row: one} if one else {}
            if motion and row in moved:
                motion.take(row, moment)
    _tidy(folder, link, taken)
    return [_picture(reading, track, row, taken[row]) for reading, row in wanted.items() if row in taken]


@dataclass(frozen=True)
class _Taken:
    """A written picture, and how full-size pixels become its own: times `scale`, less `corner`."""

    file: str
    width: int
    height: int
    scale: float
    corner: tuple[float, float]


def _take(frame: Frame, track: Track, row: int, torso: float, name: str, folder: Path, blur: bool) -> _Taken | None:
    """Write the athlete's part of one frame; None where her head cannot be covered for certain."""
    image: np.ndarray | None = frame.image
    xy = track.xy[row] * frame.scale
    if blur:
        image = only_the_athlete(frame.image, xy, torso * frame.scale, doubt=head_doubt(track, row) * frame.scale)
    if image is None:
        return None
    left, top, right, bottom = cut_box(xy, torso * frame.scale, image.shape[1], image.shape[0])
    shrink = min(1.0, LONGEST_SIDE / max(right - left, bottom - top))
    size = (max(1, round((right - left) * shrink)), max(1, round((bottom - top) * shrink)))
    file = f"{name}_{round(track.t[row] * 1000):06d}.jpg"
    _write_jpeg(folder / file, cv2.resize(image[top:bottom, left:right], size, interpolation=cv2.INTER_AREA))
    return _Taken(file, *size, frame.scale * shrink, (left * shrink, top * shrink))


def _tidy(folder: Path, link: str, taken: dict[int, _Taken]) -> None:
    """Remove pictures of this attempt that an earlier run took at other moments."""
    kept = {one.file for one in taken.values()}
    for path in (folder / FOLDER).glob(f"{slug(link)}_*.jpg"):
        if f"{FOLDER}/{path.name}" not in kept and path.stem.removeprefix(f"{slug(link)}_").isdigit():
            path.unlink(missing_ok=True)


def _row(track: Track, attempt: Attempt, reading: Reading) -> int | None:
    """The track's row nearest to the moment read; None where the athlete is not seen there."""
    at = reading.at_s if np.isfinite(reading.at_s) else (attempt.key_start_s + attempt.key_end_s) / 2
    if not len(track):
        return None
    row = int(np.argmin(np.abs(track.t - at)))
    return row if track.seen[row] else None


def _write_jpeg(path: Path, image: np.ndarray) -> None:
    ok, data = cv2.imencode(".jpg", cv2.cvtColor(image, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not ok:
        raise ValueError(f"{path.name}: a picture of shape {image.shape} could not be packed.")
    write_changed(path, data.tobytes())


def _picture(reading: Reading, track: Track, row: int, taken: _Taken) -> Picture:
    line = [INDEX[name] for name in reading.line] if np.isfinite(reading.at_s) else []
    points = track.xy[row, line] * taken.scale - taken.corner
    whole = len(line) >= 2 and bool(np.isfinite(points).all())  # never a line with a joint left out
    drawn = tuple((round(float(x), 1), round(float(y), 1)) for x, y in points) if whole else ()
    return Picture(reading.detail, reading.side, taken.file, taken.width, taken.height, drawn)
