"""A clip is followed with a second look where its attempts are, and again while its track is in doubt."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline.attempts.find import find_attempts
from pipeline.attempts.followed import DOUBTFUL, UNSURE, _judged, attempts_of, follow, followed
from pipeline.bench.truth_track import truth_track
from pipeline.landmarks import locate, models
from pipeline.landmarks.choose import OPEN_CHOICE
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import INDEX, N, Track
from tests.landmarks.test_sample_clip import ALONE, SAMPLES


def test_following_is_told_when_the_attempts_are(tmp_path, monkeypatch):
    track = truth_track(SAMPLES / "truth" / f"{ALONE}.csv", (960, 540))
    told = []
    monkeypatch.setattr(locate, "track_athlete", lambda *a, worth, **k: told.append(worth(track)) or track)
    followed(tmp_path / "clip.mp4", "c" * 64, LandmarkSettings(), tmp_path / "landmarks", source="clip")
    (attempt,) = find_attempts(track)
    assert told == [[(attempt.start_s, attempt.end_s)]]


def nobody():
    blank = np.full((30, N), np.nan)
    return Track(np.arange(30) / 30, np.full((30, N, 2), np.nan), blank, blank, np.zeros(30), blank, (960, 540), "clip")


def test_nobody_followed_does_nothing():
    assert attempts_of(nobody()) == []


def cartwheel():
    return truth_track(SAMPLES / "truth" / f"{ALONE}.csv", (960, 540))


def standing():
    """Who stood before the cartwheel, for all of the clip."""
    track = cartwheel()
    return replace(track, xy=np.repeat(track.xy[:1], len(track), axis=0), z=np.repeat(track.z[:1], len(track), axis=0))


def beside():
    """Who stands, taken for the athlete, and who does a cartwheel beside."""
    other = cartwheel()
    return replace(standing(), others=(replace(other, xy=other.xy + np.array([0.0, 400.0])),), notes=(f"{OPEN_CHOICE} (93 %)",))


CROWDS = ("matside_crowds", 4.0)


def tries(monkeypatch, *tracks):
    """Following gives these tracks in turn; returns by which model, and how often people were looked for, each time."""
    left, looked = list(tracks), []

    def track_athlete(path, settings, **_):
        looked.append((Path(settings.model).stem, settings.find_per_second))
        return left.pop(0)

    monkeypatch.setattr(locate, "track_athlete", track_athlete)
    return looked


def leaping(every):
    """The cartwheel with a knee that leaps in one frame of so many."""
    track = cartwheel()
    xy = track.xy.copy()
    xy[::every, INDEX["left_knee"]] += 200.0
    return replace(track, xy=xy)


def test_a_clip_whose_track_shows_no_skill_is_followed_by_the_network_for_crowds(monkeypatch):
    looked = tries(monkeypatch, standing(), cartwheel())
    assert attempts_of(follow("clip.mp4", LandmarkSettings(), source="clip")) == attempts_of(cartwheel()) != []
    assert looked == [("tuned", 4.0), CROWDS]


def test_a_track_that_is_only_unsure_is_followed_by_it_and_not_once_more(monkeypatch):
    first, second = leaping(30), leaping(26)
    assert UNSURE < _judged(first).doubt < _judged(second).doubt < DOUBTFUL
    looked = tries(monkeypatch, first, second)
    assert follow("clip.mp4", LandmarkSettings(), source="clip") is first
    assert looked == [("tuned", 4.0), CROWDS]


def test_a_steady_track_is_followed_once(monkeypatch):
    looked = tries(monkeypatch, cartwheel())
    assert _judged(cartwheel()).doubt < UNSURE
    follow("clip.mp4", LandmarkSettings(), source="clip")
    assert looked == [("tuned", 4.0)]


def test_while_it_is_in_doubt_it_is_followed_at_other_moments_and_the_least_doubtful_is_taken(monkeypatch):
    first, second, third, fourth, fifth = leaping(4), leaping(5), leaping(7), leaping(6), leaping(5)
    assert DOUBTFUL < _judged(third).doubt < _judged(fourth).doubt < _judged(second).doubt < _judged(first).doubt
    looked = tries(monkeypatch, first, second, third, fourth, fifth)
    assert follow("clip.mp4", LandmarkSettings(), source="clip") is third
    assert looked == [("tuned", 4.0), CROWDS, ("tuned", 6.0), ("tuned", 10.0), ("tuned", 5.0)]


def test_without_the_network_for_crowds_and_beside_another_model_it_is_followed_at_other_moments_alone(monkeypatch):
    looked = tries(monkeypatch, *[leaping(4)] * 4)
    monkeypatch.setattr(models, "CROWDS", "nowhere.tflite")
    follow("clip.mp4", LandmarkSettings(), source="clip")
    assert looked == [("tuned", 4.0), ("tuned", 6.0), ("tuned", 10.0), ("tuned", 5.0)]
    looked = tries(monkeypatch, *[leaping(4)] * 4)
    follow("clip.mp4", LandmarkSettings(model="wheel"), source="clip")
    assert {name for name, _ in looked} == {"wheel"}


def test_progress_never_goes_back(monkeypatch):
    def track_athlete(path, settings, *, progress, **_):
        for seconds in (1.0, 2.0):
            progress(seconds)
        return leaping(4)

    monkeypatch.setattr(locate, "track_athlete", track_athlete)
    heard = []
    follow("clip.mp4", LandmarkSettings(), source="clip", progress=heard.append)
    assert heard == [1.0, 2.0] + 8 * [2.0]


def test_people_are_looked_for_otherwise_each_time_and_within_what_may_be_set():
    assert [(one.find_per_second, one.find_score) for one in LandmarkSettings().again()] == [
        (6.0, 0.4),
        (10.0, pytest.approx(0.16)),
        (5.0, 0.4),
    ]
    assert [(one.find_per_second, one.find_score) for one in LandmarkSettings(find_per_second=30, find_score=0.2).again()] == [(30.0, 0.1)]


def test_who_stands_by_is_not_believed_however_steady(monkeypatch):
    track = standing()
    waving = replace(track, xy=track.xy.copy())
    for part, speed in (("wrist", 3), ("knee", 5), ("ankle", 7)):
        waving.xy[:, INDEX[f"left_{part}"], 0] += 150 * np.sin(np.arange(len(track)) / speed)
    waving.xy[::8, INDEX["left_hip"]] += 100.0  # followed badly
    assert not attempts_of(waving) and _judged(track).doubt < _judged(waving).doubt
    tries(monkeypatch, waving, *[track] * 4)
    assert follow("clip.mp4", LandmarkSettings(), source="clip") is waving


def test_where_neither_shows_one_the_first_stays(monkeypatch):
    first, second = standing(), replace(standing(), source="again")
    looked = tries(monkeypatch, first, second, second, second)
    assert follow("clip.mp4", LandmarkSettings(find_per_second=25), source="clip") is first
    assert looked == [("tuned", 25.0), ("matside_crowds", 25.0), ("tuned", 30.0), ("tuned", 30.0)]


def test_an_open_choice_puts_a_track_in_doubt():
    open_one = replace(cartwheel(), notes=(f"{OPEN_CHOICE} (93 %)",))
    assert _judged(open_one).doubt == pytest.approx(_judged(cartwheel()).doubt + 0.2)


@pytest.mark.parametrize("track", [cartwheel(), nobody(), beside()], ids=["skill", "nobody", "another's skill"])
def test_who_does_a_skill_or_is_not_there_is_followed_once(monkeypatch, track):
    looked = tries(monkeypatch, track)
    assert follow("clip.mp4", LandmarkSettings(), source="clip") is track
    assert looked == [("tuned", 4.0)]
