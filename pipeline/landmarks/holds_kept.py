"""What a look from near by saw in a clip's holds, kept beside its track: a later run looks at no hold twice, and moves points by the same to
the last bit.

Parquet, one row a hold: `start` and `end` (seconds from the first shown frame), `track` (sha256 of the frames looked at as they are
followed: another track is looked at anew), for each joint that is looked at `<name>_across`, `<name>_up` (trunks, see `paths.axes`; null where
it was not seen); `plain` and `mirrored` (lists, see `net.features`), `angles` (a list, see near_angles).
The file's name begins as the track's does, so that whoever forgets a clip forgets both.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from pipeline.landmarks import models
from pipeline.landmarks.cache import cache_file, write_table
from pipeline.landmarks.holds import Seen, look, looked_at, moved
from pipeline.landmarks.near import JOINTS, Near
from pipeline.landmarks.near_angles import COUNT
from pipeline.landmarks.near_frames import DIGITS, Key, Window, kept_key, key_of, look_at_new
from pipeline.landmarks.net import FEATURES
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import NAMES, N, Track

METHOD = 7  # raise when the code sees something else in the same frames
COLUMNS = tuple(f"{NAMES[i]}_{axis}" for i in JOINTS for axis in ("across", "up"))
FEATURE_COLUMNS, ANGLES_COLUMN = ("plain", "mirrored"), "angles"
FEATURE_DIGITS = 4  # of features and degrees

Known = dict[Key, Seen]


def with_holds(path: Path, content_hash: str, track: Track, windows: Sequence[Window], settings: LandmarkSettings, folder: Path) -> Track:
    """The track with its holds as a look from near by sees them; as it came where there are none, no network for it is installed or chosen, or
    no frame of a hold can be looked at."""
    model = models.near_model(models.landmark_model(settings.model), settings.near_look)
    if model is None or not windows:
        return track
    file = kept_file(content_hash, settings, folder)
    known, keys = _read(file), [key_of(track, window, looked_at(track, window)) for window in windows]

    def see(near: Near, window: Window) -> Seen | None:
        seen = look(near, path, track, window, longest_side=settings.longest_side)
        return _rounded(seen) if seen else None

    if look_at_new(known, windows, keys, model, see):
        _write(file, known)
    return moved(track, [(window, known[key]) for window, key in zip(windows, keys, strict=True) if key in known])


def kept_file(content_hash: str, settings: LandmarkSettings, folder: Path) -> Path:
    """Where what was seen in a clip of these bytes lies under these settings, by this model."""
    model = models.near_model(models.landmark_model(settings.model), settings.near_look)
    return folder / f"{cache_file(content_hash, settings, folder).stem}_holds-{model.key if model else 'none'}-{METHOD}.parquet"


def _rounded(seen: Seen) -> Seen:
    """As a second run reads it."""
    features = np.round(seen.features, FEATURE_DIGITS).astype(np.float32)
    return Seen(np.round(seen.beside, DIGITS), features, np.round(seen.angles, FEATURE_DIGITS))


def _read(file: Path) -> Known:
    """What was seen, by hold; nothing where the file is missing or broken: then they are looked at again."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not file.is_file():
        return {}
    try:
        table = pq.read_table(file)
        beside = np.full((table.num_rows, N, 2), np.nan)
        beside[:, JOINTS] = np.stack([table.column(name).to_numpy() for name in COLUMNS], axis=1).reshape(-1, len(JOINTS), 2)
        features = np.array([table.column(name).to_pylist() for name in FEATURE_COLUMNS], dtype=np.float32)
        features = features.reshape(2, table.num_rows, FEATURES)
        angles = np.array(table.column(ANGLES_COLUMN).to_pylist(), dtype=float).reshape(table.num_rows, COUNT)
        keys = zip(*(table.column(name).to_pylist() for name in ("start", "end", "track")), strict=True)
        return {kept_key(*key): Seen(beside[i], features[:, i], angles[i]) for i, key in enumerate(keys)}
    except (pa.ArrowException, OSError, KeyError, ValueError, TypeError):
        return {}


def _write(file: Path, known: Known) -> None:
    """Whole or not at all."""
    import pyarrow as pa

    start, end, of = zip(*known, strict=True)
    beside = np.array([seen.beside[JOINTS] for seen in known.values()]).reshape(len(known), -1)
    features = {
        name: pa.array([seen.features[i] for seen in known.values()], pa.list_(pa.float32())) for i, name in enumerate(FEATURE_COLUMNS)
    }
    angles = pa.array([seen.angles for seen in known.values()], pa.list_(pa.float64()))
    columns = dict(zip(COLUMNS, beside.T, strict=True))
    write_table(pa.table({"start": list(start), "end": list(end), "track": list(of), **columns, **features, ANGLES_COLUMN: angles}), file)
