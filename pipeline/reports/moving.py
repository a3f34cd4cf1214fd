"""An attempt as a small silent clip in which nobody can be recognised, and where its joints are in every frame of it.

Two files lie beside the attempt's pictures: NAME.mp4 and NAME.json (times and points, in the small clip's pixels), so that
the page can draw the measured line over the moving picture, in step with the curve.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.clips.video import Moment
from pipeline.clips.write import ClipWriter
from pipeline.files import write_whole
from pipeline.landmarks.track import INDEX, Track
from pipeline.measures.reading import Reading
from pipeline.reports.blur import all_blurred, head_doubt, only_the_athlete, torso_length
from pipeline.reports.cut import cut_box
from pipeline.reports.files import slug
from pipeline.reports.motion import FOLDER, Motion, line_key

LONGEST_SIDE = 560
BEFORE_AND_AFTER_S = 0.4
QUALITY, PRESET = 27, "veryfast"


class MovingPicture:
    """An attempt's moving picture while the clip is decoded: `take` the moment of each of its `rows`, in order.

    Each picture is written as it comes, so that none is kept. The file is there, whole, when the `with` block ends.
    """

    def __init__(
        self, track: Track, attempt: Attempt, readings: Sequence[Reading], *, link: str, folder: Path, blur: bool = True
    ) -> None:  # fmt: skip
        inside = (track.t >= attempt.start_s - BEFORE_AND_AFTER_S) & (track.t <= attempt.end_s + BEFORE_AND_AFTER_S)
        self.rows = np.flatnonzero(inside)  # of the track
        self.made = False
        self._track, self._readings, self._blur = track, readings, blur
        self._torso = torso_length(track.xy[(track.t >= attempt.start_s) & (track.t <= attempt.end_s)])
        self._path = folder / FOLDER / f"{slug(link)}.mp4"
        self._part = self._path.with_name(f".{self._path.stem}.{os.getpid()}.part.mp4")
        self._writer: ClipWriter | None = None
        self._shown: list[int] = []
        if len(self.rows) < 2 or not np.isfinite(self._torso):
            self.rows = self.rows[:0]
            return
        self._box = _even(cut_box(track.xy[self.rows].reshape(-1, 2), self._torso, *track.size))
        wide, high = self._box[2] - self._box[0], self._box[3] - self._box[1]
        scale = min(1.0, LONGEST_SIDE / max(wide, high))
        self._size = (max(2, round(wide * scale / 2) * 2), max(2, round(high * scale / 2) * 2))  # H.264 wants even sides

    def take(self, row: int, moment: Moment) -> None:
        """Write the picture of one of the track's rows."""
        if self._writer is None:
            self._part.parent.mkdir(parents=True, exist_ok=True)
            self._writer = ClipWriter(self._part, quality=QUALITY, preset=PRESET)
        small = moment.part(self._box, self._size)
        self._shown.append(row)
        image = _covered(small, self._track, row, self._torso, self._box) if self._blur else small
        self._writer.add(image, float(self._track.t[row] - self._track.t[self._shown[0]]))

    def __enter__(self) -> MovingPicture:
        return self

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        try:
            if self._writer is not None:
                self._writer.close()
            if kind is None and len(self._shown) > 1:
                os.replace(self._part, self._path)
                write_whole(self._path.with_suffix(".json"), json.dumps(vars(self._motion()), separators=(",", ":")))
                self.made = True
        finally:
            self._part.unlink(missing_ok=True)

    def _motion(self) -> Motion:
        """Where the joints are in each picture written."""
        track, shown, box, size = self._track, self._shown, self._box, self._size
        places = (track.xy[shown] - box[:2]) * (size[0] / (box[2] - box[0]), size[1] / (box[3] - box[1]))
        names = dict.fromkeys(name for reading in self._readings for name in reading.line)
        return Motion(
            round(float(track.t[shown[0]]), 4), *size, [round(float(track.t[row] - track.t[shown[0]]), 4) for row in shown],
            {name: [_point(p) for p in places[:, INDEX[name]]] for name in names},
            {line_key(reading.detail, reading.side): list(reading.line) for reading in self._readings if len(reading.line) > 1},
        )  # fmt: skip


def _even(box: tuple[int, int, int, int]) -> tuple[int, int, int, int]:
    """The box grown to even pixels, of which each two share a colour in the clip."""
    return box[0] // 2 * 2, box[1] // 2 * 2, -(-box[2] // 2) * 2, -(-box[3] // 2) * 2


def _covered(small: np.ndarray, track: Track, row: int, torso: float, box: tuple[int, int, int, int]) -> np.ndarray:
    """The cut-out picture with nobody recognisable in it. Covered after cutting: the picture is small then."""
    scale = np.array([small.shape[1] / (box[2] - box[0]), small.shape[0] / (box[3] - box[1])])
    largest = float(scale.max())
    xy = (track.xy[row] - (box[0], box[1])) * scale
    covered = only_the_athlete(small, xy, torso * largest, doubt=head_doubt(track, row) * largest)
    return all_blurred(small, torso * largest) if covered is None else covered


def _point(place: np.ndarray) -> list[float] | None:
    return [round(float(place[0]), 1), round(float(place[1]), 1)] if np.isfinite(place).all() else None
