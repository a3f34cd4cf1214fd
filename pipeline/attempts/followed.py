"""A clip's track as every run and every benchmark has it: looked at twice where its attempts are, followed again where it is unsure: first by the
network that was taught on crowds, then, while it is in doubt, with people looked for at other moments."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from pipeline.attempts import whose
from pipeline.attempts.find import find_attempts
from pipeline.landmarks.choose import open_choice
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.steadiness import extent, unsteadiness
from pipeline.landmarks.track import Track

NO_SKILL, OPEN = 0.3, 0.2  # in doubt so much more
UNSURE = 0.2  # followed by the network for crowds from here on: a fifth of drawn clips, in which four fifths of the wrong frames lie
DOUBTFUL = 0.3  # again at other moments from here on


def followed(
    path: Path, content_hash: str, settings: LandmarkSettings, folder: Path, *, source: str, progress: Callable[[float], None] | None = None
) -> Track:
    """The track of a clip from `folder` where it is there, else followed now and kept there: the same whatever skill is told."""
    from pipeline.landmarks.cache import cached_track

    return cached_track(
        content_hash, settings, folder, source=source, follow=lambda: follow(path, settings, source=source, progress=progress)
    )


def follow(path: Path, settings: LandmarkSettings, *, source: str, progress: Callable[[float], None] | None = None) -> Track:
    """Follow a clip; once more by the network for crowds where its track is unsure, and again, up to three times, with people looked for at
    other moments or less surely, while it is in doubt.

    That network tells limbs of people who overlap better; the first one is the nearer to the joints of those who do not. Beside others little
    decides where a track lies, so at other moments one that lies on somebody else, or lost her, mostly comes out otherwise. The least doubtful
    of all is taken, those in doubt the more who move less than in another of them: an onlooker is steady.
    """
    from pipeline.landmarks.locate import track_athlete

    onwards = _onwards(progress) if progress else None
    followings = [_judged(track_athlete(path, settings, source=source, worth=attempts_of, progress=onwards))]
    best = followings[0]
    for other, least in _tries(settings):
        if best.doubt < least or not best.track.seen.any():
            break
        followings.append(_judged(track_athlete(path, other, source=source, worth=attempts_of, progress=onwards)))
        best = _least_doubtful(followings)
    return best.track


def _tries(settings: LandmarkSettings) -> list[tuple[LandmarkSettings, float]]:
    """How a clip is followed again, in this order, and the doubt from which on."""
    from pipeline.landmarks.models import crowd_model, landmark_model

    crowds = crowd_model(landmark_model(settings.model))
    first = [(settings.model_copy(update={"model": str(crowds.path)}), UNSURE)] if crowds else []
    return [*first, *((other, DOUBTFUL) for other in settings.again())]


def _onwards(progress: Callable[[float], None]) -> Callable[[float], None]:
    """The same, but it hears of nothing less than it was told before."""
    furthest = 0.0

    def tell(seconds: float) -> None:
        nonlocal furthest
        furthest = max(furthest, seconds)
        progress(furthest)

    return tell


class _Judged(NamedTuple):
    """A track, how little it is to be believed, from 0 on, and how much the athlete does in it, in trunks."""

    track: Track
    doubt: float
    extent: float


def _judged(track: Track) -> _Judged:
    """In doubt is who is unsteady, who does no skill, though a clip is filmed for one, and where it is open which of two was filmed."""
    hers = whose.athlete(track)
    return _Judged(track, unsteadiness(hers) + NO_SKILL * (not attempts_of(hers)) + OPEN * open_choice(hers.notes), extent(hers))


def _least_doubtful(followings: list[_Judged]) -> _Judged:
    most = max(one.extent for one in followings) or 1.0
    return min(followings, key=lambda one: one.doubt + 1 - one.extent / most)  # the earlier one of two alike


def attempts_of(track: Track) -> list[tuple[float, float]]:
    """(start, end) in seconds of each attempt in a track."""
    return [(attempt.start_s, attempt.end_s) for attempt in find_attempts(track)]
