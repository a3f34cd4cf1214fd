"""Held poses and cartwheels among a clip's attempts, and the track as looks from near by see them: what every run and every benchmark measures from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from pipeline.attempts.attempt import Attempt
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import Track
from pipeline.vocabulary import Skill

HELD = (Skill.LUNGE, Skill.LOADED_LUNGE, Skill.SHOULDER_STAND)


def holds(attempts: Iterable[Attempt]) -> list[tuple[float, float]]:
    """(start, end) in seconds of each hold."""
    return [(a.key_start_s, a.key_end_s) for a in attempts if a.skill in HELD and a.key_end_s > a.key_start_s]


def cartwheels(attempts: Iterable[Attempt]) -> list[tuple[float, float]]:
    """(start, end) in seconds of each cartwheel's time upside down."""
    return [(a.key_start_s, a.key_end_s) for a in attempts if a.skill is Skill.CARTWHEEL and a.key_end_s > a.key_start_s]


def seen_from_near(
    path: Path, content_hash: str, track: Track, attempts: Sequence[Attempt], settings: LandmarkSettings, folder: Path
) -> Track:
    """The track to measure the attempts from: holds as they are seen from near by, all else as it was followed; with what is told of
    cartwheels' knees. What was seen is kept in `folder`, beside the track."""
    from pipeline.landmarks.cartwheels import looks
    from pipeline.landmarks.holds_kept import with_holds

    told = looks(path, content_hash, track, cartwheels(attempts), settings, folder)
    return replace(with_holds(path, content_hash, track, holds(attempts), settings, folder), cartwheels=told)
