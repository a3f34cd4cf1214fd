"""What beginners do otherwise than planned: pause, hesitate, fall and try again, stay down, wait in a lunge; on the samples' true joints,
played at other speeds, held and played back."""

from __future__ import annotations

import csv
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.find import find_attempts
from pipeline.bench.truth_track import truth_track
from pipeline.landmarks.track import Track
from pipeline.vocabulary import Skill

DATA = Path(__file__).parents[2] / "sample_data"
SIZE = (1280, 720)  # of the picture; nothing here depends on it
STEP = 1 / 30
BOUNDARY_S = 0.2
CARTWHEEL, ROLL, STAND, LUNGE = "HE-01_2026-03-03_2", "OT-02_2026-03-02_1", "HE-03_2026-03-10_1", "OT-01_2026-03-02_1"


@lru_cache
def sample(stem: str) -> tuple[Track, dict[str, float]]:
    """The true joints of a sample with one skill, and when it begins and ends, and its key window."""
    with (DATA / "truth.csv").open(encoding="utf-8") as lines:
        row = next(r for r in csv.DictReader(lines) if Path(r["clip"]).stem == stem)
    return truth_track(DATA / "truth" / f"{stem}.csv", SIZE), {k: float(row[k]) for k in ("start_s", "end_s", "key_start_s", "key_end_s")}


def play(start: float, end: float, speed: float = 1.0) -> np.ndarray:
    """Moments of the sample from start to end, or back from start to end, a thirtieth of a second apart on the new clip's clock."""
    return np.arange(start, end, np.copysign(speed * STEP, end - start))


def hold(at: float, seconds: float) -> np.ndarray:
    """One moment held, with a trace of sway."""
    n = np.arange(round(seconds / STEP))
    return at + 0.004 * np.sin(0.4 * n)


def seen_at(track: Track, *parts: np.ndarray) -> tuple[Track, np.ndarray]:
    """(the track of these moments one after the other, the moments)."""
    moments = np.concatenate(parts)
    between = lambda v: np.stack([np.interp(moments, track.t, c) for c in v.reshape(len(track), -1).T], axis=-1).reshape(-1, *v.shape[1:])  # noqa: E731
    n, k = len(moments), track.xy.shape[1]
    return Track(
        STEP * np.arange(n), between(track.xy), between(track.z), np.ones((n, k)), np.ones(n), np.full((n, k), np.nan), SIZE, "x.mp4"
    ), moments


def only(track: Track, skill: Skill) -> Attempt:
    found = find_attempts(track)
    assert [a.skill for a in found] == [skill]
    return found[0]


def first(moments: np.ndarray, at: float) -> float:
    """When a moment of the sample is first reached, seconds on the new clock."""
    return STEP * float(np.flatnonzero(moments >= at - 1e-6)[0])


def last(moments: np.ndarray, at: float) -> float:
    """When it is last passed."""
    return STEP * float(np.flatnonzero(moments <= at + 1e-6)[-1])


@pytest.mark.parametrize(
    ("stem", "skill"), [(CARTWHEEL, Skill.CARTWHEEL), (ROLL, Skill.BACKWARD_ROLL), (STAND, Skill.SHOULDER_STAND), (LUNGE, Skill.LUNGE)]
)
@pytest.mark.parametrize("speed", [0.6, 1.0, 1.4])
def test_slow_and_quick_children_are_found(stem: str, skill: Skill, speed: float) -> None:
    track, told = sample(stem)
    film, moments = seen_at(track, play(track.t[0], track.t[-1], speed))
    attempt = only(film, skill)
    assert attempt.start_s == pytest.approx(first(moments, told["start_s"]), abs=BOUNDARY_S)
    assert attempt.end_s == pytest.approx(first(moments, told["end_s"]), abs=BOUNDARY_S / min(speed, 1.0))


@pytest.mark.parametrize("share", [0.45, 0.9, 1.1])
def test_a_roll_with_a_pause_in_the_squat_in_the_tuck_or_overhead_stays_one(share: float) -> None:
    track, told = sample(ROLL)
    pause = told["start_s"] + share * (told["key_start_s"] - told["start_s"])
    film, moments = seen_at(track, play(track.t[0], pause), hold(pause, 1.2), play(pause, track.t[-1]))
    attempt = only(film, Skill.BACKWARD_ROLL)
    assert attempt.start_s == pytest.approx(told["start_s"], abs=BOUNDARY_S)
    assert attempt.end_s == pytest.approx(last(moments, told["end_s"]), abs=BOUNDARY_S)


def test_who_squats_for_two_seconds_still_ends_standing_and_who_stays_down_ends_there() -> None:
    track, told = sample(ROLL)
    landed = told["end_s"] - 0.7
    film, moments = seen_at(track, play(track.t[0], landed), hold(landed, 2.0), play(landed, track.t[-1]))
    assert only(film, Skill.BACKWARD_ROLL).end_s == pytest.approx(last(moments, told["end_s"]), abs=BOUNDARY_S)
    film, _ = seen_at(track, play(track.t[0], landed), hold(landed, 4.0), play(landed, track.t[-1]))
    assert landed < only(film, Skill.BACKWARD_ROLL).end_s < landed + 1.0


@pytest.mark.parametrize(("share", "seconds"), [(0.4, 0.3), (0.5, 0.5), (0.6, 0.5)])
def test_a_cartwheel_with_a_pause_in_the_lunge_begins_with_the_step_into_it(share: float, seconds: float) -> None:
    track, told = sample(CARTWHEEL)
    lunge = told["start_s"] + share * (told["key_start_s"] - told["start_s"])
    film, _ = seen_at(track, play(track.t[0], lunge), hold(lunge, seconds), play(lunge, track.t[-1]))
    assert only(film, Skill.CARTWHEEL).start_s == pytest.approx(told["start_s"], abs=BOUNDARY_S)


def test_who_falls_out_of_a_stand_and_kicks_up_again_has_tried_once() -> None:
    track, told = sample(STAND)
    up, seat = told["key_start_s"] + 0.1, told["start_s"] + 0.55 * (told["key_start_s"] - told["start_s"])
    film, moments = seen_at(track, play(track.t[0], up), play(up, seat), play(seat, track.t[-1]))
    attempt = only(film, Skill.SHOULDER_STAND)
    assert attempt.start_s == pytest.approx(told["start_s"], abs=BOUNDARY_S)
    assert attempt.key_start_s == pytest.approx(last(moments, told["key_start_s"]), abs=BOUNDARY_S)
    assert attempt.end_s == pytest.approx(last(moments, told["end_s"]), abs=BOUNDARY_S)


def test_straight_becomes_loaded_where_the_back_knee_leaves_its_hold() -> None:
    """The routine of a sample bends out of the straight lunge at 2.088 s."""
    found = find_attempts(truth_track(DATA / "truth" / "OT-02_2026-03-16_1.csv", SIZE))
    assert [a.skill for a in found[:2]] == [Skill.LUNGE, Skill.LOADED_LUNGE]
    assert found[0].end_s == found[1].start_s == pytest.approx(2.088, abs=0.1)


@pytest.mark.parametrize("seconds", [0.4, 5.0])
@pytest.mark.parametrize(("stem", "skill"), [(STAND, Skill.SHOULDER_STAND), (LUNGE, Skill.LUNGE)])
def test_short_and_long_holds_count(stem: str, skill: Skill, seconds: float) -> None:
    track, told = sample(stem)
    a, b = told["key_start_s"], told["key_end_s"]
    film, moments = seen_at(track, play(track.t[0], a), play(a, b, (b - a) / seconds), play(b, track.t[-1]))
    attempt = only(film, skill)
    assert attempt.key_start_s == pytest.approx(first(moments, a), abs=BOUNDARY_S)
    assert attempt.key_end_s == pytest.approx(first(moments, b), abs=BOUNDARY_S)


@pytest.mark.parametrize(
    ("stem", "skill"), [(CARTWHEEL, Skill.CARTWHEEL), (ROLL, Skill.BACKWARD_ROLL), (STAND, Skill.SHOULDER_STAND), (LUNGE, Skill.LUNGE)]
)
def test_a_clip_that_starts_in_the_middle_shows_the_skill_from_its_start(stem: str, skill: Skill) -> None:
    track, told = sample(stem)
    film, moments = seen_at(track, play(told["key_start_s"] - 0.15, track.t[-1]))
    attempt = only(film, skill)
    assert attempt.start_s == pytest.approx(0.0, abs=0.1)
    assert attempt.end_s == pytest.approx(first(moments, told["end_s"]), abs=BOUNDARY_S)
