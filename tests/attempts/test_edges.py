"""Where a roll begins after a step, who stands however large she appears, and two lunges out of one step."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts import stepping
from pipeline.attempts.find import find_attempts
from pipeline.attempts.lunges import lunge_candidates
from pipeline.attempts.rest import hips_sink, legs_upright, standing
from pipeline.attempts.signals import signals
from pipeline.landmarks.track import INDEX, Track
from pipeline.vocabulary import Skill
from tests.attempts.routines import loaded_lunge
from tests.measures import bodies
from tests.measures.bodies import film

ONE_FOOT = [INDEX[f"left_{part}"] for part in ("ankle", "heel", "foot_index")]


def closing_a_foot(track: Track, start: float, seconds: float, far: float) -> Track:
    """The track with the left foot set back by `far` pixels until it is drawn up between two times."""
    back = far * (1 - np.clip((track.t - start) / seconds, 0, 1))
    xy = track.xy.copy()
    xy[:, ONE_FOOT, 0] -= back[:, None]
    xy[:, INDEX["left_knee"], 0] -= back / 2
    return replace(track, xy=xy)


@pytest.mark.parametrize("motion", [bodies.backward_roll(), bodies.shoulder_stand()], ids=["roll", "stand"])
def test_a_roll_or_stand_begins_where_the_hips_sink_not_with_the_step_before(motion: bodies.Motion) -> None:
    track = closing_a_foot(film(motion), motion.span[0] - 0.45, 0.35, 40.0)
    (attempt,) = find_attempts(track)
    assert attempt.start_s == pytest.approx(motion.span[0], abs=0.15)


@pytest.mark.parametrize(("jitter", "end"), [(0.15, 1.4), (0.02, 1.9)])
def test_a_step_ends_where_the_foot_rests_as_far_as_landmarks_jitter(monkeypatch: pytest.MonkeyPatch, jitter: float, end: float) -> None:
    s = signals(film(bodies.backward_roll()))
    assert s is not None
    speed = np.full(len(s.t), jitter)
    speed[s.between(1.0, 1.4)], speed[s.between(1.41, 1.9)] = 1.5, 0.5  # a step, and half a second in which the foot seems to go on
    monkeypatch.setattr(stepping, "step_speed", lambda _: speed)
    monkeypatch.setattr(stepping, "standing", lambda s: np.ones(len(s.t), bool))
    assert stepping.bursts(s) == [(pytest.approx(1.0, abs=0.04), pytest.approx(end, abs=0.04))]


def test_hips_that_stay_up_do_not_sink() -> None:
    s = signals(film(bodies.lunge()))
    assert s is not None and np.isnan(hips_sink(s, 0.0, 0.8))
    s = signals(film(bodies.backward_roll()))
    assert s is not None and hips_sink(s, 0.3, 1.5) == pytest.approx(0.7, abs=0.15)


def test_standing_is_seen_where_the_floor_is_lost() -> None:
    motion = bodies.backward_roll()
    track = film(motion)
    s = signals(track)
    assert s is not None
    sunk = replace(s, height=s.height - 0.45)  # the floor is taken to be half a trunk higher than it is, after she has stood tall on it
    sunk = replace(sunk, height=np.where((s.t < 0.6)[:, None], s.height, sunk.height))
    stood, squat = s.t > 3.9, (s.t > 1.2) & (s.t < 1.5)
    assert standing(sunk)[stood].all() and not standing(sunk)[squat].any()
    up = legs_upright(s)
    assert up[stood].min() > 0.97 and up[squat].max() < 0.8
    assert up[(s.t > 2.1) & (s.t < 2.3)].max() < 0.3, "upside down no hip is over its foot"


@pytest.mark.parametrize(("straight", "bent"), [(165.0, 150.0), (150.0, 120.0), (140.0, 110.0)])
def test_a_straight_hold_bent_into_a_loaded_one_is_two_lunges_however_straight_each_is(straight: float, bent: float) -> None:
    first, second = loaded_lunge(knee=straight), loaded_lunge(knee=bent)
    hold = (first.t > 1.5) & (first.t < 2.7)
    a, b = first.joints[hold], second.joints[hold]
    feet = [INDEX[f"{side}_ankle"] for side in ("left", "right")]
    b = b - (b[:, feet].mean(axis=(0, 1)) - a[:, feet].mean(axis=(0, 1))) * np.array([1, 1, 0])
    ease = np.linspace(0, 1, 12)[:, None, None]
    ease = ease * ease * (3 - 2 * ease)
    joints = np.concatenate([first.joints[first.t <= 1.5], a, a[-1] * (1 - ease) + b[0] * ease, b, second.joints[second.t >= 2.7]])
    motion = bodies.Motion(np.arange(len(joints)) / 30.0, joints)
    found = find_attempts(film(motion))
    assert [f.skill for f in found] == [Skill.LUNGE, Skill.LOADED_LUNGE]


@pytest.mark.parametrize("knee", [120.0, 135.0])
def test_one_bent_hold_stays_one_loaded_lunge(knee: float) -> None:
    (found,) = find_attempts(film(loaded_lunge(knee=knee)))
    assert found.skill is Skill.LOADED_LUNGE


def _heel_at(degrees: float, *, knee: float) -> bodies.Motion:
    """A lunge whose back foot stands on its toes, from heel to toes down from level by so much."""
    motion = loaded_lunge(knee=knee)
    joints = motion.joints.copy()
    heel, toes = (joints[:, INDEX[f"right_{part}"]] for part in ("heel", "foot_index"))
    long = np.linalg.norm(heel - toes, axis=-1)
    there = np.clip((motion.t - 0.8) / 0.7, 0, 1) * np.clip((3.4 - motion.t) / 0.7, 0, 1)
    down = np.radians(degrees) * there
    ahead = np.sign((toes - heel)[:, 0])
    joints[:, INDEX["right_heel"]] = toes + (long * np.stack([-ahead * np.cos(down), 0 * down, np.sin(down)])).T
    return replace(motion, joints=joints)


@pytest.mark.parametrize(
    ("knee", "heel", "skill"),
    [(142.0, 5.0, Skill.LUNGE), (150.0, 48.0, Skill.LOADED_LUNGE), (164.0, 60.0, Skill.LUNGE), (128.0, 0.0, Skill.LOADED_LUNGE)],
)
def test_the_heel_tells_the_kind_of_a_lunge_only_where_the_knee_is_near_its_limit(knee: float, heel: float, skill: Skill) -> None:
    (found,) = find_attempts(film(_heel_at(heel, knee=knee), noise=1.0))
    assert found.skill is skill


def test_a_moment_s_mistake_makes_no_lunge_of_another_kind() -> None:
    s = signals(film(bodies.lunge()))
    assert s is not None
    (hold,) = lunge_candidates(s)
    middle = int(np.searchsorted(s.t, (hold.key_start_s + hold.key_end_s) / 2))
    knee, speed = s.knee.copy(), s.speed.copy()
    knee[middle - 2 : middle + 3] = 100.0  # for a fifth of a second the back knee is seen bent, and the leg leaps before and after
    speed[middle - 5 : middle - 2] = speed[middle + 3 : middle + 6] = 3.0
    again = lunge_candidates(replace(s, knee=knee, speed=speed))
    assert [(c.skill, c.key_start_s, c.key_end_s) for c in again] == [(Skill.LUNGE, hold.key_start_s, hold.key_end_s)]


def test_a_lunge_begins_with_the_step_not_with_arms_that_shift_the_trunk_before() -> None:
    motion = bodies.lunge()
    track = film(motion)
    xy = track.xy.copy()
    trunk = [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("hip", "shoulder")]
    xy[:, trunk, 0] += 30 * np.sin(np.pi * np.clip((track.t - 0.2) / 0.7, 0, 1))[:, None]
    (attempt,) = find_attempts(replace(track, xy=xy))
    assert attempt.start_s == pytest.approx(motion.span[0], abs=0.15)


@pytest.mark.parametrize(("motion", "skill"), [(bodies.lunge(), Skill.LUNGE), (loaded_lunge(knee=118.0), Skill.LOADED_LUNGE)])
def test_a_clip_cut_to_its_hold_still_shows_the_lunge(motion: bodies.Motion, skill: Skill) -> None:
    whole = film(motion, noise=1.0)
    (attempt,) = find_attempts(whole)
    hold = (whole.t >= attempt.key_start_s) & (whole.t <= attempt.key_end_s)
    rows = {name: getattr(whole, name)[hold] for name in ("xy", "z", "visibility", "presence", "disagreement")}
    (found,) = find_attempts(replace(whole, t=whole.t[hold] - attempt.key_start_s, **rows))
    assert found.skill is skill
    assert found.key_end_s - found.key_start_s == pytest.approx(attempt.key_end_s - attempt.key_start_s, abs=0.2)
