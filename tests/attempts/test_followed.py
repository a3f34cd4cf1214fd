"""A clip is followed with a second look where its attempts are."""

import numpy as np

from pipeline.attempts.find import find_attempts
from pipeline.attempts.followed import attempts_of, followed
from pipeline.bench.truth_track import truth_track
from pipeline.landmarks import locate
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import N, Track
from tests.landmarks.test_sample_clip import ALONE, SAMPLES


def test_following_is_told_when_the_attempts_are(tmp_path, monkeypatch):
    track = truth_track(SAMPLES / "truth" / f"{ALONE}.csv", (960, 540))
    told = []
    monkeypatch.setattr(locate, "track_athlete", lambda *a, worth, **k: told.append(worth(track)) or track)
    followed(tmp_path / "clip.mp4", "c" * 64, LandmarkSettings(), tmp_path / "landmarks", source="clip")
    (attempt,) = find_attempts(track)
    assert told == [[(attempt.start_s, attempt.end_s)]]


def test_nobody_followed_does_nothing():
    blank = np.full((30, N), np.nan)
    nobody = Track(np.arange(30) / 30, np.full((30, N, 2), np.nan), blank, blank, np.zeros(30), blank, (960, 540), "clip")
    assert attempts_of(nobody) == []
