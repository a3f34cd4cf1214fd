"""Which skill, when, which way and with which leg: on stick athletes whose movement is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.find import find_attempts
from pipeline.landmarks.track import Track
from pipeline.vocabulary import Setting, Side, Skill
from tests.measures import bodies
from tests.measures.bodies import Motion, film

BOUNDARY_S = 0.15

SKILLS = {
    Skill.LUNGE: lambda **k: bodies.lunge(**k),
    Skill.SHOULDER_STAND: lambda **k: bodies.shoulder_stand(**k),
    Skill.BACKWARD_ROLL: lambda **k: bodies.backward_roll(**k),
    Skill.CARTWHEEL: lambda **k: bodies.cartwheel(**k),
}


def square(skill: Skill, right: bool) -> float:
    """The turn that films a skill as it should be: from the side, or from the front for the cartwheel."""
    return (-90.0 if right else 90.0) if skill is Skill.CARTWHEEL else (0.0 if right else 180.0)


def join(*motions: Motion) -> Motion:
    """Motions one after the other in one clip."""
    t, joints, at = [], [], 0.0
    for m in motions:
        t.append(m.t + at)
        joints.append(m.joints)
        at = t[-1][-1] + (m.t[1] - m.t[0])
    return Motion(np.concatenate(t), np.concatenate(joints))


@pytest.mark.parametrize("right", [True, False], ids=["to the right", "to the left"])
@pytest.mark.parametrize("skill", SKILLS)
@pytest.mark.parametrize("fps", [24.0, 30.0, 60.0])
def test_each_skill_is_found_where_it_is_going_either_way(skill: Skill, right: bool, fps: float) -> None:
    motion = SKILLS[skill](fps=fps)
    found = find_attempts(film(motion, turned=square(skill, right)))
    assert [a.skill for a in found] == [skill]
    attempt = found[0]
    assert attempt.number == 1 and attempt.setting is Setting.ALONE and not attempt.told and attempt.certainty > 0.5
    assert abs(attempt.start_s - motion.span[0]) <= BOUNDARY_S and abs(attempt.end_s - motion.span[1]) <= BOUNDARY_S
    if skill in (Skill.LUNGE, Skill.SHOULDER_STAND):
        assert attempt.direction == (1 if right else -1)
    if np.isfinite(motion.key[0]):
        assert abs(attempt.key_start_s - motion.key[0]) <= BOUNDARY_S and abs(attempt.key_end_s - motion.key[1]) <= BOUNDARY_S


@pytest.mark.parametrize("lead", ["left", "right"])
@pytest.mark.parametrize("skill", [Skill.LUNGE, Skill.CARTWHEEL])
@pytest.mark.parametrize("right", [True, False])
def test_the_leading_leg_is_told_from_the_picture_not_from_the_roster(skill: Skill, lead: str, right: bool) -> None:
    found = find_attempts(film(SKILLS[skill](lead=lead), turned=square(skill, right)), lead_side=Side.LEFT)
    assert [a.lead_side for a in found] == [Side(lead)]


@pytest.mark.parametrize("skill", SKILLS)
@pytest.mark.parametrize("seed", range(3))
def test_noise_gaps_drift_and_a_tilted_phone_do_not_hide_a_skill(skill: Skill, seed: int) -> None:
    rng = np.random.default_rng(seed)
    track = film(
        SKILLS[skill](),
        turned=square(skill, seed % 2 == 0),
        noise=3.0,
        dropout=0.1,
        drift=15.0,
        tilt=[-3.0, 0.0, 3.0][seed],
        scale=220.0,
        rng=rng,
    )
    found = find_attempts(track)
    assert [a.skill for a in found] == [skill]
    span = SKILLS[skill]().span
    assert abs(found[0].start_s - span[0]) <= 0.2 and abs(found[0].end_s - span[1]) <= 0.2


def test_an_uneven_clock_moves_no_boundary() -> None:
    motion = bodies.shoulder_stand(fps=60.0)
    keep = np.sort(np.random.default_rng(0).choice(len(motion.t), len(motion.t) // 2, replace=False))
    uneven = Motion(motion.t[keep], motion.joints[keep])
    found = find_attempts(film(uneven))
    assert len(found) == 1 and abs(found[0].start_s - motion.span[0]) <= BOUNDARY_S and abs(found[0].end_s - motion.span[1]) <= BOUNDARY_S


@pytest.mark.parametrize(
    "motion",
    [bodies.walk(), bodies.forward_fold(), bodies.backward_roll(turn=+1.0), *(bodies.wander(np.random.default_rng(s)) for s in range(6))],
    ids=["walking", "bending forward", "rolling forwards", *(f"fidgeting {s}" for s in range(6))],
)
@pytest.mark.parametrize("turned", [0.0, 180.0, -90.0])
def test_what_is_none_of_the_four_gives_no_attempt(motion: Motion, turned: float) -> None:
    assert find_attempts(film(motion, turned=turned, noise=1.0)) == []


@pytest.mark.parametrize("seed", range(5))
def test_random_points_give_no_attempt(seed: int) -> None:
    rng = np.random.default_rng(seed)
    still = film(bodies.walk())
    xy = rng.uniform(0, 700, still.xy.shape) if seed % 2 else np.cumsum(rng.normal(0, 8, still.xy.shape), axis=0) + 350
    assert find_attempts(replace(still, xy=xy)) == []


def test_a_track_without_the_athlete_gives_no_attempt() -> None:
    full = film(bodies.lunge())
    for n in (0, 1, 3, len(full)):
        lost = Track(
            full.t[:n],
            full.xy[:n] * np.nan,
            full.z[:n],
            full.visibility[:n],
            full.presence[:n],
            full.disagreement[:n],
            full.size,
            "lost.mp4",
        )
        assert find_attempts(lost) == []


def test_two_goes_in_one_clip_count_separately() -> None:
    found = find_attempts(film(join(bodies.backward_roll(), bodies.backward_roll())))
    assert [(a.skill, a.number) for a in found] == [(Skill.BACKWARD_ROLL, 1), (Skill.BACKWARD_ROLL, 2)]
    assert found[0].end_s <= found[1].start_s and found[0].setting is Setting.ALONE


def test_different_skills_in_one_clip_make_a_routine() -> None:
    found = find_attempts(film(join(bodies.lunge(), bodies.backward_roll(), bodies.shoulder_stand())))
    assert [a.skill for a in found] == [Skill.LUNGE, Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND]
    assert {a.setting for a in found} == {Setting.ROUTINE}


def test_a_told_skill_is_the_only_one_looked_for() -> None:
    track = film(join(bodies.lunge(), bodies.shoulder_stand()))
    found = find_attempts(track, told=Skill.SHOULDER_STAND)
    assert [a.skill for a in found] == [Skill.SHOULDER_STAND] and found[0].told
    assert find_attempts(track, told=Skill.CARTWHEEL) == []


def test_a_short_hold_is_no_shoulder_stand() -> None:
    assert find_attempts(film(bodies.shoulder_stand(hold=0.05))) == []
