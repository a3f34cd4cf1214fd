"""A clip's track as every run and every benchmark has it: looked at twice where its attempts are, followed again while it is in doubt."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipeline.attempts import whose
from pipeline.attempts.find import find_attempts
from pipeline.landmarks.choose import open_choice
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.steadiness import unsteadiness
from pipeline.landmarks.track import Track

NO_SKILL, OPEN = 0.3, 0.2  # in doubt so much more
DOUBTFUL = 0.3  # a clip is followed again from here on: 7 in 100 drawn clips, in which three quarters of the wrong frames lie


def followed(
    path: Path, content_hash: str, settings: LandmarkSettings, folder: Path, *, source: str, progress: Callable[[float], None] | None = None
) -> Track:
    """The track of a clip from `folder` where it is there, else followed now and kept there: the same whatever skill is told."""
    from pipeline.landmarks.cache import cached_track

    return cached_track(
        content_hash, settings, folder, source=source, follow=lambda: follow(path, settings, source=source, progress=progress)
    )


def follow(path: Path, settings: LandmarkSettings, *, source: str, progress: Callable[[float], None] | None = None) -> Track:
    """Follow a clip; once more, and a third time, with people looked for at other moments, while its track is in doubt.

    Beside others little decides where a track lies, so at other moments one that lies on somebody else, or lost her, mostly comes out
    otherwise. The least doubtful of them is taken, the earlier one where two are alike.
    """
    from pipeline.landmarks.locate import track_athlete

    best = track_athlete(path, settings, source=source, worth=attempts_of, progress=progress)
    least = doubt(best)
    for other in settings.at_other_moments():
        if least < DOUBTFUL or not best.seen.any():
            break
        again = track_athlete(path, other, source=source, worth=attempts_of, progress=progress)
        if doubt(again) < least:
            best, least = again, doubt(again)
    return best


def doubt(track: Track) -> float:
    """How little a clip's track is to be believed, from 0 on: how unsteady the athlete's is, whether it shows no skill, though a clip is
    filmed for one, and whether it is open which of two was filmed."""
    hers = whose.athlete(track)
    return unsteadiness(hers) + NO_SKILL * (not attempts_of(hers)) + OPEN * open_choice(hers.notes)


def attempts_of(track: Track) -> list[tuple[float, float]]:
    """(start, end) in seconds of each attempt in a track."""
    return [(attempt.start_s, attempt.end_s) for attempt in find_attempts(track)]
