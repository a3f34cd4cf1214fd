"""What a closer look at a clip's holds saw, kept beside its track: a later run looks at no hold twice, and moves points by the same to
the last bit.

Parquet, one row a hold: `start` and `end` (seconds from the first shown frame), `track` (sha256 of the frames looked at as they are
followed: another track is looked at anew), for each of the 33 landmarks `<name>_across`, `<name>_up` (trunks, see `paths.axes`), for each
that is looked at from near by `<name>_near_across`, `<name>_near_up` (null where it was not seen so); `plain` and `mirrored` (lists, see
`net.features`), `angles` (a list, see near_angles).
The file's name begins as the track's does, so that whoever forgets a clip forgets both.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from pipeline.landmarks import models
from pipeline.landmarks.cache import cache_file, write_table
from pipeline.landmarks.closer import FRAMES, LEAST_FRAMES, Seen, Window, look_closer, looked_at, moved
from pipeline.landmarks.near import JOINTS, Near
from pipeline.landmarks.near_angles import COUNT
from pipeline.landmarks.net import FEATURES, LandmarkNet
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import NAMES, Track

METHOD = 6  # raise when the code sees something else in the same frames
COLUMNS = tuple(f"{name}_{axis}" for name in NAMES for axis in ("across", "up"))
NEAR_COLUMNS = tuple(f"{NAMES[i]}_near_{axis}" for i in JOINTS for axis in ("across", "up"))
FEATURE_COLUMNS, ANGLES_COLUMN = ("plain", "mirrored"), "angles"
DIGITS, FEATURE_DIGITS = 6, 4  # of offsets, in trunks; of features and degrees


def closer_track(path: Path, content_hash: str, track: Track, holds: Sequence[Window], settings: LandmarkSettings, folder: Path) -> Track:
    """The track with its holds as a closer look sees them; as it came where there are none, no network for it is installed or chosen, or
    no frame of a hold can be looked at."""
    model, nearer = models.hold_models(settings.model, settings.closer_look)
    if model is None or not holds:
        return track
    file = closer_file(content_hash, settings, folder)
    known = _read(file)
    keys = [key_of(track, hold, looked_at(track, hold)) for hold in holds]
    nets = None
    fresh: dict[tuple[float, float, str], Seen] = {}
    for hold, key in zip(holds, keys, strict=True):
        if key not in known and key not in fresh:
            nets = nets or (LandmarkNet(models.inner_file(model)), Near.load(nearer) if nearer else None)
            seen = look_closer(*nets, path, track, hold, longest_side=settings.longest_side)
            if seen is not None:
                features = np.round(seen.features, FEATURE_DIGITS).astype(np.float32)
                angles = np.round(seen.angles, FEATURE_DIGITS)
                fresh[key] = Seen(np.round(seen.beside, DIGITS), features, np.round(seen.near, DIGITS), angles)
    known |= fresh
    if fresh:
        _write(file, known)
    return moved(track, [(hold, known[key]) for hold, key in zip(holds, keys, strict=True) if key in known])


def closer_file(content_hash: str, settings: LandmarkSettings, folder: Path) -> Path:
    """Where what a closer look saw in a clip of these bytes lies under these settings, by these models."""
    keys = [model.key if model else "none" for model in models.hold_models(settings.model, settings.closer_look)]
    kind = f"{'-'.join(keys)}-{METHOD}-{FRAMES}-{LEAST_FRAMES}"
    return folder / f"{cache_file(content_hash, settings, folder).stem}_closer-{kind}.parquet"


def key_of(track: Track, window: Window, rows: np.ndarray) -> tuple[float, float, str]:
    """What is kept of a window is known by it, and by the rows of the track that are looked at, as they are followed (sha256)."""
    followed = hashlib.sha256(track.t[rows].tobytes() + np.ascontiguousarray(track.xy[rows]).tobytes())
    return float(window[0]), float(window[1]), followed.hexdigest()


def _read(file: Path) -> dict[tuple[float, float, str], Seen]:
    """What was seen, by hold; nothing where the file is missing or broken: then they are looked for again."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not file.is_file():
        return {}
    try:
        table = pq.read_table(file)
        values = np.stack([table.column(name).to_numpy() for name in COLUMNS], axis=1).reshape(-1, len(NAMES), 2)
        near = np.full(values.shape, np.nan)
        near[:, JOINTS] = np.stack([table.column(name).to_numpy() for name in NEAR_COLUMNS], axis=1).reshape(-1, len(JOINTS), 2)
        features = np.array([table.column(name).to_pylist() for name in FEATURE_COLUMNS], dtype=np.float32).reshape(
            2, len(values), FEATURES
        )
        angles = np.array(table.column(ANGLES_COLUMN).to_pylist(), dtype=float).reshape(len(values), COUNT)
        keys = zip(*(table.column(name).to_pylist() for name in ("start", "end", "track")), strict=True)
        return {
            (float(start), float(end), str(of)): Seen(values[i], features[:, i], near[i], angles[i])
            for i, (start, end, of) in enumerate(keys)
        }
    except (pa.ArrowException, OSError, KeyError, ValueError, TypeError):
        return {}


def _write(file: Path, known: dict[tuple[float, float, str], Seen]) -> None:
    """Whole or not at all."""
    import pyarrow as pa

    start, end, of = zip(*known, strict=True)
    values = np.array([seen.beside for seen in known.values()]).reshape(len(known), -1)
    features = {
        name: pa.array([seen.features[i] for seen in known.values()], pa.list_(pa.float32())) for i, name in enumerate(FEATURE_COLUMNS)
    }
    angles = pa.array([seen.angles for seen in known.values()], pa.list_(pa.float64()))
    near = np.array([seen.near[JOINTS] for seen in known.values()]).reshape(len(known), -1)
    columns = dict(zip((*COLUMNS, *NEAR_COLUMNS), np.concatenate([values, near], axis=1).T, strict=True))
    write_table(pa.table({"start": list(start), "end": list(end), "track": list(of), **columns, **features, ANGLES_COLUMN: angles}), file)
