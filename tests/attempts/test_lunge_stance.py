"""A lunge held while one leg is taken for the other, lunges whose kind the coach has said, and hands lost on their way to the floor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.find import find_attempts
from pipeline.attempts.signals import signals
from pipeline.attempts.stance import one_leg_twice
from pipeline.landmarks.track import INDEX, Track
from pipeline.vocabulary import Skill
from tests.attempts.routines import loaded_lunge
from tests.attempts.test_mistaken_limbs import LEGS
from tests.measures import bodies
from tests.measures.bodies import film
from tests.measures.stick import on_floor, skeleton

FOOT = ("ankle", "heel", "foot_index")


def one_leg_seen_twice(track: Track, start: float, end: float, side: int = 0, *, over: float = 1e-3) -> Track:
    """The track with one leg (0 left, 1 right) seen where the other is, between two times; `over` so many seconds it goes there and back."""
    share = (np.clip((track.t - start) / over, 0, 1) * np.clip((end - track.t) / over, 0, 1))[:, None, None]
    own, other = track.xy[:, LEGS[side][1:]], track.xy[:, LEGS[1 - side][1:]]
    xy = track.xy.copy()
    xy[:, LEGS[side][1:]] = (1 - share) * own + share * other
    return replace(track, xy=xy)


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize(("start", "end", "over"), [(1.7, 2.1, 1e-3), (1.9, 2.6, 1e-3), (1.8, 2.4, 0.2)])
def test_a_hold_goes_on_while_one_leg_is_taken_for_the_other(side: int, start: float, end: float, over: float) -> None:
    """The hold lasts from 1.5 to 2.7 s; the front knee is bent as in a loaded lunge's back leg."""
    track = film(bodies.lunge(), noise=1.0, drift=15.0)
    (clean,) = find_attempts(track)
    (found,) = find_attempts(one_leg_seen_twice(track, start, end, side, over=over))
    assert found.skill is Skill.LUNGE
    assert [found.key_start_s, found.key_end_s] == pytest.approx([clean.key_start_s, clean.key_end_s], abs=0.1)
    assert [found.start_s, found.end_s] == pytest.approx([clean.start_s, clean.end_s], abs=0.1)


@pytest.mark.parametrize("side", [0, 1])
def test_two_lunges_out_of_one_step_stay_two_while_one_leg_is_taken_for_the_other(side: int) -> None:
    """Straight from 1.5 to 2.4 s, bent from 2.8 s."""
    track = one_leg_seen_twice(film(loaded_lunge(straight_first=True), noise=1.0), 1.8, 2.35, side)
    straight, loaded = find_attempts(track)
    assert (straight.skill, loaded.skill) == (Skill.LUNGE, Skill.LOADED_LUNGE)
    assert straight.end_s == loaded.start_s == pytest.approx(2.4, abs=0.15)


def test_holds_between_one_rest_and_one_are_one_lunge_though_the_trunk_sways_too() -> None:
    """The hold lasts from 1.5 to 2.7 s; from 2.0 to 2.2 s one leg is taken for the other and the shoulders lean by 15 degrees."""
    track = one_leg_seen_twice(film(bodies.lunge(), noise=1.0), 2.0, 2.2)
    xy = track.xy.copy()
    trunk = np.linalg.norm(xy[0, INDEX["left_shoulder"]] - xy[0, INDEX["left_hip"]])
    lean = np.sin(np.pi * np.clip((track.t - 2.0) / 0.2, 0, 1))
    for side in ("left", "right"):
        xy[:, INDEX[f"{side}_shoulder"], 0] += np.sin(np.radians(15)) * trunk * lean
    (found,) = find_attempts(replace(track, xy=xy))
    assert found.skill is Skill.LUNGE
    assert found.key_start_s < 1.8 and found.key_end_s > 2.5


def test_feet_brought_together_and_apart_again_are_no_mistake() -> None:
    """She stands astride, closes her front foot in 0.4 s and opens it again, trunk and hips as they were."""
    stand = bodies.Motion(np.arange(90) / 30, np.repeat(on_floor(skeleton(bodies.STAND)[None]), 90, axis=0))
    together = 0.5 * (1 + np.cos(2 * np.pi * np.clip((stand.t - 1.1) / 0.8, 0, 1)))
    joints = stand.joints.copy()
    trunk = np.linalg.norm(joints[0, [INDEX["left_shoulder"], INDEX["left_hip"]]] @ np.array([[0], [0], [1.0]]), axis=-1)
    far = 1.2 * float(trunk[0] - trunk[1])
    for side, way in (("left", 1.0), ("right", -1.0)):
        for part, share in (("knee", 0.5), *((p, 1.0) for p in FOOT)):
            joints[:, INDEX[f"{side}_{part}"], 0] += way * share * far / 2 * (0.4 + 0.6 * together)
    s = signals(film(bodies.Motion(stand.t, joints), noise=1.0))
    assert s is not None and not one_leg_twice(s).any()


@pytest.mark.parametrize(("knee", "told"), [(118.0, Skill.LUNGE), (175.0, Skill.LOADED_LUNGE), (118.0, Skill.LOADED_LUNGE)])
def test_a_lunge_is_of_the_kind_that_the_coach_has_said(knee: float, told: Skill) -> None:
    (found,) = find_attempts(film(loaded_lunge(knee=knee), noise=1.0), told=told)
    assert found.skill is told and found.told


@pytest.mark.parametrize(("told", "hold"), [(Skill.LUNGE, (1.5, 2.4)), (Skill.LOADED_LUNGE, (2.8, 3.8))])
def test_of_two_kinds_out_of_one_step_only_the_one_said_counts(told: Skill, hold: tuple[float, float]) -> None:
    (found,) = find_attempts(film(loaded_lunge(straight_first=True), noise=1.0), told=told)
    assert found.skill is told
    assert (found.key_start_s, found.key_end_s) == pytest.approx(hold, abs=0.2)


@pytest.mark.parametrize("lost", [0.1, 0.25])
def test_hands_lost_on_their_way_down_were_not_down_from_the_beginning(lost: float) -> None:
    track = film(bodies.cartwheel(), turned=-90.0)
    (clean,) = find_attempts(track)
    xy = track.xy.copy()
    xy[(track.t > clean.key_start_s - lost) & (track.t < clean.key_start_s + 0.05)] = np.nan
    (found,) = find_attempts(replace(track, xy=xy))
    assert found.skill is Skill.CARTWHEEL
    assert clean.key_start_s - lost <= found.key_start_s <= clean.key_start_s + 0.1
