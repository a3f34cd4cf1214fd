"""Tracks kept as Parquet, so that no clip is followed twice: keyed by the clip's bytes, the model's bytes and the settings.

One row a frame. Columns: `t` (seconds from the first shown frame), `presence` (0..1), and for each of the 33 landmarks
`<name>_x`, `<name>_y` (pixels of the full-size picture in display orientation, y down), `<name>_z` (same pixels, from the
middle of the hips, away from the camera positive), `<name>_visibility` (0..1) and `<name>_disagreement` (pixels between the
looks that were joined). A gap is null, never zero. Who else may be the athlete (`Track.others`) stands in the same columns, their names
begun with `other1_`, `other2_` and so on. The file's metadata holds `source`, `width`, `height`, `notes`, the
clip's `content` hash, `model`, `second_look` and `crowds` (name and sha256), `settings` (JSON) and Matside's `version`.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipeline import __version__
from pipeline.errors import MatsideError
from pipeline.landmarks import models
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import NAMES, Track

if TYPE_CHECKING:
    import pyarrow as pa

LAYOUT = "matside-track-1"
PER_POINT = ("x", "y", "z", "visibility", "disagreement")


def cached_track(content_hash: str, settings: LandmarkSettings, folder: Path, *, source: str, follow: Callable[[], Track]) -> Track:
    """The track of a clip of these bytes from `folder` where it is there, else as `follow` follows it now, and kept there."""
    file = cache_file(content_hash, settings, folder)
    if file.is_file():
        try:
            return read_track(file, source=source)
        except MatsideError:
            file.unlink(missing_ok=True)  # half a disk or another layout: follow again
    track = follow()
    model = models.landmark_model(settings.model)
    second, crowds = models.second_model(model, settings.second_look), models.crowd_model(model)
    about = {
        "content": content_hash,
        "model": f"{model.name} {model.sha256}",
        "second_look": f"{second.name} {second.sha256}" if second else "none",
        "crowds": f"{crowds.name} {crowds.sha256}" if crowds else "none",
        "settings": settings.model_dump_json(),
        "version": __version__,
    }
    write_track(track, file, about=about)
    return read_track(file, source=source)  # as every later run will see it, to the last bit


def cache_file(content_hash: str, settings: LandmarkSettings, folder: Path) -> Path:
    """Where the track of a clip of these bytes lies under these settings."""
    return folder / f"{content_hash[:32]}_{models.used(settings.model, settings.second_look)}_{settings.key()}.parquet"


def write_track(track: Track, file: Path, *, about: dict[str, str] | None = None) -> None:
    """Write a track whole or not at all."""
    import pyarrow as pa

    columns = {"t": track.t}
    for number, one in enumerate((track, *track.others)):
        columns |= {_before(number) + name: values for name, values in _columns(one).items()}
    table = pa.table({name: pa.array(values, from_pandas=True) for name, values in columns.items()})
    words = {
        "layout": LAYOUT, "source": track.source, "width": str(track.size[0]), "height": str(track.size[1]),
        "notes": json.dumps(list(track.notes)), **(about or {}),
    }  # fmt: skip
    write_table(table.replace_schema_metadata(words), file)


def write_table(table: pa.Table, file: Path) -> None:
    """Write a table as Parquet, whole or not at all."""
    import pyarrow.parquet as pq

    file.parent.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(dir=file.parent, prefix=f".{file.stem[:16]}-", suffix=".part")
    os.close(handle)
    try:
        pq.write_table(table, part, compression="zstd")
        with open(part, "rb") as written:
            os.fsync(written.fileno())
        os.replace(part, file)
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise


def _columns(track: Track) -> dict[str, np.ndarray]:
    columns = {"presence": track.presence.astype(np.float32)}
    for i, name in enumerate(NAMES):
        values = (track.xy[:, i, 0], track.xy[:, i, 1], track.z[:, i], track.visibility[:, i], track.disagreement[:, i])
        columns |= {f"{name}_{kind}": v.astype(np.float32) for kind, v in zip(PER_POINT, values, strict=True)}
    return columns


def _before(number: int) -> str:
    """How the columns of a person begin: the athlete's own do not."""
    return f"other{number}_" if number else ""


def read_track(file: Path, *, source: str | None = None) -> Track:
    """A track as it was written. Raises MatsideError for a file that is none, or broken."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.read_table(file)
        words = {k.decode(): v.decode() for k, v in (table.schema.metadata or {}).items()}
        if words.get("layout") != LAYOUT:
            raise MatsideError(
                f"{file}: a track of layout {words.get('layout')!r}; expected {LAYOUT!r}. Delete it to follow the clip again."
            )
        column = {name: table.column(name).to_numpy(zero_copy_only=False).astype(float) for name in table.column_names}
        size, named = (int(words["width"]), int(words["height"])), source if source is not None else words["source"]
        people: list[Track] = []
        while (begin := _before(len(people))) + "presence" in column:
            x, y, z, visibility, disagreement = (
                np.stack([column[f"{begin}{name}_{kind}"] for name in NAMES], axis=1) for kind in PER_POINT
            )
            people.append(
                Track(column["t"], np.stack([x, y], axis=2), z, visibility, column[begin + "presence"], disagreement, size, named)
            )
        return replace(people[0], notes=tuple(json.loads(words["notes"])), others=tuple(people[1:]))
    except (pa.ArrowException, OSError, KeyError, ValueError, IndexError) as error:
        raise MatsideError(f"{file}: not a whole track ({error}). Delete it to follow the clip again.") from error
