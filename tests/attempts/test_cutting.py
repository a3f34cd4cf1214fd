"""A routine cut into its skills, loaded lunges told from straight ones, moments inside skills, and mirrors: on stick athletes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.find import find_attempts
from pipeline.landmarks.track import INDEX
from pipeline.measures.measure import measure_attempt
from pipeline.vocabulary import DETAIL, Setting, Side, Skill
from tests.attempts import routines
from tests.attempts.routines import OTHER, chain, loaded_lunge, mirrored
from tests.measures import bodies
from tests.measures.bodies import film

BOUNDARY_S = 0.2


@pytest.mark.parametrize("lead", ["left", "right"])
@pytest.mark.parametrize("turned", [0.0, 180.0])
@pytest.mark.parametrize(("noise", "drift"), [(0.0, 0.0), (3.0, 0.0), (2.0, 40.0)])
def test_a_routine_is_cut_into_its_skills_in_order(lead: str, turned: float, noise: float, drift: float) -> None:
    motion, told = routines.routine(lead)
    found = find_attempts(film(motion, turned=turned, noise=noise, drift=drift, scale=160.0))
    assert [a.skill for a in found] == [x.skill for x in told]
    assert {a.setting for a in found} == {Setting.ROUTINE} and [a.number for a in found] == [1, 2, 3, 4]
    for a, x in zip(found, told, strict=True):
        assert abs(a.start_s - x.start_s) <= BOUNDARY_S and abs(a.end_s - x.end_s) <= BOUNDARY_S, a.skill
    assert [a.lead_side for a in found[:2]] == [Side(lead)] * 2


def test_a_skill_in_a_routine_reads_as_it_does_alone() -> None:
    motion, _ = routines.routine()
    track = film(motion, scale=160.0)
    by_skill = {a.skill: a for a in find_attempts(track)}
    for skill, alone in ((Skill.SHOULDER_STAND, bodies.shoulder_stand()), (Skill.LUNGE, bodies.lunge())):
        single = film(alone, scale=160.0)
        want = {r.detail: r.value for r in measure_attempt(single, find_attempts(single)[0])[0]}
        got = {r.detail: r.value for r in measure_attempt(track, by_skill[skill])[0]}
        for detail in ("hip_angle", "knee_angle", "toe_point"):
            if (skill, detail) in DETAIL:
                assert got[detail] == pytest.approx(want[detail], abs=2.0), (skill, detail)


@pytest.mark.parametrize("lead", ["left", "right"])
@pytest.mark.parametrize("turned", [0.0, 180.0])
@pytest.mark.parametrize("knee", [105.0, 118.0, 130.0])
def test_a_loaded_lunge_is_told_by_its_back_knee(lead: str, turned: float, knee: float) -> None:
    found = find_attempts(film(loaded_lunge(knee=knee, lead=lead), turned=turned, noise=1.0))
    assert [(a.skill, a.lead_side) for a in found] == [(Skill.LOADED_LUNGE, Side(lead))]


@pytest.mark.parametrize("knee", [180.0, 170.0, 160.0])
def test_a_straight_lunge_stays_one(knee: float) -> None:
    assert [a.skill for a in find_attempts(film(bodies.lunge(knee=knee), noise=1.0))] == [Skill.LUNGE]


@pytest.mark.parametrize("turned", [0.0, 180.0])
@pytest.mark.parametrize("drift", [0.0, 60.0])
def test_bending_out_of_a_straight_lunge_gives_two_attempts(turned: float, drift: float) -> None:
    found = find_attempts(film(loaded_lunge(straight_first=True), turned=turned, drift=drift, noise=1.0))
    assert [a.skill for a in found] == [Skill.LUNGE, Skill.LOADED_LUNGE]
    assert found[0].end_s == found[1].start_s == pytest.approx(2.4, abs=BOUNDARY_S)


def test_a_told_kind_of_lunge_is_taken_at_its_word() -> None:
    track = film(loaded_lunge(knee=140.0), noise=1.0)
    assert [a.skill for a in find_attempts(track, told=Skill.LOADED_LUNGE)] == [Skill.LOADED_LUNGE]
    assert find_attempts(film(loaded_lunge(knee=105.0)), told=Skill.CARTWHEEL) == []


def test_moments_come_in_order_and_inside_the_attempt() -> None:
    motion, _ = routines.routine()
    for a in find_attempts(film(motion, noise=1.0, scale=160.0)):
        times = list(a.moments.values())
        assert times == sorted(times), a
        inside = [v for k, v in a.moments.items() if k != "arms_start_s"]
        assert all(a.start_s - 1e-9 <= v <= a.end_s + 0.3 for v in inside)


@pytest.mark.parametrize("lead", ["left", "right"])
def test_a_cartwheels_hands_and_feet_come_down_when_they_touch(lead: str) -> None:
    motion = bodies.cartwheel(lead=lead)
    attempt = find_attempts(film(motion, turned=-90.0))[0]
    j = motion.joints
    hands = np.sort([motion.t[np.flatnonzero(j[:, INDEX[f"{s}_index"], 2] < 0.03)[0]] for s in ("left", "right")])
    assert attempt.moment("hand1_s") == pytest.approx(hands[0], abs=0.1) and attempt.moment("hand2_s") == pytest.approx(hands[1], abs=0.1)
    later = motion.t > hands[1] + 0.2
    feet = np.sort([motion.t[np.flatnonzero(later & (j[:, INDEX[f"{s}_foot_index"], 2] < 0.03))[0]] for s in ("left", "right")])
    assert attempt.moment("foot1_s") == pytest.approx(feet[0], abs=0.12)


def test_a_moment_not_seen_is_nan_and_an_unknown_name_is_said() -> None:
    attempt = find_attempts(film(bodies.lunge()))[0]
    assert np.isnan(replace(attempt, moments={}).moment("hold_start_s"))
    with pytest.raises(ValueError, match=r"lunge.*hand1_s.*arms_start_s"):
        attempt.moment("hand1_s")


@pytest.mark.parametrize(
    ("motion", "turned"),
    [(bodies.lunge(knee=165.0), 0.0), (loaded_lunge(), 0.0), (bodies.shoulder_stand(hip=165.0), 180.0), (bodies.backward_roll(), 0.0),
     (bodies.cartwheel(left_knee=150.0), -90.0)],
    ids=["lunge", "loaded lunge", "shoulder stand", "roll", "cartwheel"],
)  # fmt: skip
def test_in_a_mirror_everything_is_the_same_with_the_sides_exchanged(motion: bodies.Motion, turned: float) -> None:
    track = film(motion, turned=turned, noise=1.0)
    one, other = find_attempts(track)[0], find_attempts(mirrored(track))[0]
    assert (one.skill, one.direction, one.lead_side) == (other.skill, -other.direction, OTHER[other.lead_side])
    for name in ("start_s", "end_s", "key_start_s", "key_end_s"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-6)
    assert dict(one.moments) == pytest.approx(dict(other.moments), abs=1e-6)
    drawn = {"arm_peak_speed", "arm_time_to_peak", "arm_smoothness", "standing_sway"}  # their intervals come from random draws
    left = {(r.detail, r.side): r.value for r in measure_attempt(track, one)[0] if r.detail not in drawn}
    right = {(r.detail, OTHER[r.side]): r.value for r in measure_attempt(mirrored(track), other)[0] if r.detail not in drawn}
    assert left.keys() == right.keys()
    for key, value in left.items():
        assert value == pytest.approx(right[key], abs=1e-3, nan_ok=True), key


def test_the_roster_gives_no_side_where_the_picture_could_have() -> None:
    motion, _ = chain((Skill.LUNGE, bodies.lunge(lead="left")), (Skill.BACKWARD_ROLL, bodies.backward_roll()))
    found = find_attempts(film(motion), lead_side=Side.RIGHT)
    assert [a.lead_side for a in found] == [Side.LEFT, Side.RIGHT]
