"""A clip's holds are measured as a look from near by sees them, and what it saw goes where the clip's track goes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.batch import process
from pipeline.batch.process import Task, process_clip
from pipeline.clips.content import content_hash, stamp_of
from pipeline.errors import MatsideError
from pipeline.landmarks.holds_kept import kept_file
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import N, Track
from pipeline.vocabulary import Setting, Side, Skill
from tests.clips.filming import film

LUNGE = Attempt(Skill.LUNGE, 1, 0.1, 0.9, 0.3, 0.6, 1, Side.LEFT, Setting.ALONE, 0.9, False)


@pytest.fixture
def task(tmp_path, monkeypatch):
    nothing = np.zeros((30, N))
    track = Track(np.arange(30) / 30, np.full((30, N, 2), 50.0), nothing, nothing + 1, np.ones(30), nothing, (128, 96), "x")
    monkeypatch.setattr("pipeline.landmarks.cache.cached_track", lambda *_, **__: track)
    monkeypatch.setattr("pipeline.attempts.find.find_attempts", lambda *_, **__: [LUNGE])
    clip = film(tmp_path / "a.mp4")
    return Task(
        "a.mp4", clip, content_hash(clip), "OT-01", "Otters", "2026-03-02", LandmarkSettings(), tmp_path / "data", stamp=stamp_of(clip)
    )


def test_attempts_are_measured_from_what_the_near_look_saw(task, monkeypatch):
    measured = []

    def look(path, content, track, attempts, settings, folder):
        assert (path, content, attempts, settings, folder) == (task.path, task.content, [LUNGE], task.landmarks, task.data / "landmarks")
        return replace(track, xy=track.xy + 1.0)

    def measure(task, track, attempt):
        measured.append(track.xy)
        return process.AttemptResult(attempt, "link")

    monkeypatch.setattr("pipeline.attempts.held.seen_from_near", look)
    monkeypatch.setattr(process, "_measured", measure)
    process_clip(task)
    assert len(measured) == 1 and (measured[0] == 51.0).all()


def test_nothing_a_near_look_saw_is_kept_of_a_clip_that_changed_meanwhile(task, monkeypatch):
    file = kept_file(task.content, task.landmarks, task.data / "landmarks")

    def look(path, content, track, *_):
        file.parent.mkdir(parents=True)
        file.write_bytes(b"seen")
        with open(path, "ab") as grows:
            grows.write(b"more")
        return track

    monkeypatch.setattr("pipeline.attempts.held.seen_from_near", look)
    monkeypatch.setattr(process, "_measured", lambda task, track, attempt: process.AttemptResult(attempt, "link"))
    with pytest.raises(MatsideError, match="the file changed"):
        process_clip(task)
    assert not file.exists()
