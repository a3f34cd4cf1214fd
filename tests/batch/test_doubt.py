"""Several people, several cameras: what cannot be told is said in the clip's row, and nothing is joined that nobody has joined."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.batch import process
from pipeline.batch.process import MEASURED, NOTHING_FOUND, Task, process_clip
from pipeline.batch.run import run_folder
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import N, Track
from pipeline.store import Store
from tests.batch.nights import TODAY, StandIn, clips_folder
from tests.clips.filming import film
from tests.measures import bodies
from tests.measures.bodies import film as filmed

ALIKE = "Two people move much alike (93 %); which of them was filmed cannot be told."


def track(notes=(), seen=True):
    n = 30
    xy = np.full((n, N, 2), 100.0 if seen else np.nan)
    nothing = np.zeros((n, N))
    return Track(np.arange(n) / 30, xy, nothing, nothing + 1, np.ones(n), nothing, (128, 96), "x", tuple(notes))


@pytest.mark.parametrize("found", [True, False])
def test_two_people_who_move_alike_are_said_whether_or_not_anything_was_found(tmp_path, monkeypatch, found):
    from pipeline.attempts.attempt import Attempt
    from pipeline.vocabulary import Setting, Side, Skill

    attempt = Attempt(Skill.LUNGE, 1, 0.1, 0.9, 0.3, 0.6, 1, Side.LEFT, Setting.ALONE, 0.9, False)
    monkeypatch.setattr("pipeline.landmarks.cache.cached_track", lambda *_, **__: track([ALIKE]))
    monkeypatch.setattr("pipeline.attempts.find.find_attempts", lambda *_, **__: [attempt] if found else [])
    monkeypatch.setattr(process, "_measured", lambda task, track, attempt: process.AttemptResult(attempt, "l"))
    clip = film(tmp_path / "a.mp4")
    done = process_clip(Task("a.mp4", clip, "0" * 32, "OT-01", "Otters", "2026-03-02", LandmarkSettings(), tmp_path))
    assert done.status == (MEASURED if found else NOTHING_FOUND) and ALIKE in done.reason


@pytest.mark.parametrize("second_lunges", [False, True])
def test_who_alone_does_a_skill_is_measured_without_a_doubt(tmp_path, monkeypatch, second_lunges):
    lunge = filmed(bodies.lunge())
    carried = replace(lunge, xy=lunge.xy[:1] + np.stack([np.linspace(0, 300, len(lunge)), np.zeros(len(lunge))], axis=1)[:, None])
    first = replace(lunge, xy=lunge.xy + 300.0) if second_lunges else carried
    measured = []
    monkeypatch.setattr("pipeline.landmarks.cache.cached_track", lambda *_, **__: replace(first, others=(lunge,), notes=(ALIKE,)))
    monkeypatch.setattr(process, "_measured", lambda task, track, attempt: measured.append(track) or process.AttemptResult(attempt, "l"))
    clip = film(tmp_path / "a.mp4")
    done = process_clip(Task("a.mp4", clip, "0" * 32, "OT-01", "Otters", "2026-03-02", LandmarkSettings(), tmp_path))
    assert done.status == MEASURED and (ALIKE in done.reason) == second_lunges
    np.testing.assert_array_equal(measured[0].xy, lunge.xy)  # who alone does one, or of two the one the phone is held on


def test_two_cameras_on_one_go_are_two_attempts_unless_the_coach_says_skip(tmp_path):
    """Nothing in two files proves that they show the same go, so nothing is joined; her word in clips.csv settles it."""
    folder, out = clips_folder(tmp_path, ("OT-01_2026-03-02_front.mp4", "OT-01_2026-03-02_side.mp4")), tmp_path / "out"
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    with Store(out / "data" / "matside.sqlite") as store:
        assert len(store.attempts("OT-01")) == 2
    (tmp_path / "other").mkdir()
    folder = clips_folder(tmp_path / "other", ("OT-01_2026-03-02_front.mp4", "OT-01_2026-03-02_side.mp4"))
    (folder / "clips.csv").write_text("clip,athlete\nOT-01_2026-03-02_side.mp4,skip\n")
    engine = StandIn()
    run_folder(folder, tmp_path / "other" / "out", engine=engine, today=TODAY)
    assert engine.asked == ["OT-01_2026-03-02_front.mp4"]
    with Store(tmp_path / "other" / "out" / "data" / "matside.sqlite") as store:
        assert store.known()["OT-01_2026-03-02_side.mp4"].reason == "left out: clips.csv says skip"
