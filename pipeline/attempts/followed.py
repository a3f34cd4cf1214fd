"""A clip's track as every run and every benchmark has it: looked at twice where its attempts are, followed twice where it shows none."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipeline.attempts import whose
from pipeline.attempts.find import find_attempts
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import Track


def followed(
    path: Path, content_hash: str, settings: LandmarkSettings, folder: Path, *, source: str, progress: Callable[[float], None] | None = None
) -> Track:
    """The track of a clip from `folder` where it is there, else followed now and kept there: the same whatever skill is told."""
    from pipeline.landmarks.cache import cached_track

    return cached_track(
        content_hash, settings, folder, source=source, follow=lambda: follow(path, settings, source=source, progress=progress)
    )


def follow(path: Path, settings: LandmarkSettings, *, source: str, progress: Callable[[float], None] | None = None) -> Track:
    """Follow a clip; once more, with people looked for at other moments, where nobody who may be the athlete does a skill.

    A clip is filmed for a skill: a track without one mostly lies on somebody else, or lost her. Beside others little decides where it
    lies, so at other moments it mostly comes out otherwise; whichever of the two shows a skill is taken, the first where neither does.
    """
    from pipeline.landmarks.locate import track_athlete

    track = track_athlete(path, settings, source=source, worth=attempts_of, progress=progress)
    if attempts_of(whose.athlete(track)) or not track.seen.any():
        return track
    other = track_athlete(path, settings.at_other_moments(), source=source, worth=attempts_of, progress=progress)
    return other if attempts_of(whose.athlete(other)) else track


def attempts_of(track: Track) -> list[tuple[float, float]]:
    """(start, end) in seconds of each attempt in a track."""
    return [(attempt.start_s, attempt.end_s) for attempt in find_attempts(track)]
