"""A clip's track as every run and every benchmark has it: looked at twice where its attempts are."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipeline.attempts.find import find_attempts
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import Track


def followed(
    path: Path, content_hash: str, settings: LandmarkSettings, folder: Path, *, source: str, progress: Callable[[float], None] | None = None
) -> Track:
    """The track of a clip from `folder` where it is there, else followed now and kept there: the same whatever skill is told."""
    from pipeline.landmarks.cache import cached_track

    return cached_track(path, content_hash, settings, folder, source=source, worth=attempts_of, progress=progress)


def attempts_of(track: Track) -> list[tuple[float, float]]:
    """(start, end) in seconds of each attempt in a track."""
    return [(attempt.start_s, attempt.end_s) for attempt in find_attempts(track)]
