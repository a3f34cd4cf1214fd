"""Skills found though the landmarks are mistaken for a while: a trunk seen head down, legs exchanged or somebody else's, feet kept together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.find import find_attempts
from pipeline.attempts.rest import TURNED, heading
from pipeline.attempts.signals import signals
from pipeline.attempts.upside_down import on_hands, times_over
from pipeline.landmarks.track import INDEX, Track
from pipeline.vocabulary import Skill
from tests.measures import bodies
from tests.measures.bodies import film
from tests.measures.stick import on_floor, skeleton

LEGS = [[INDEX[f"{side}_{part}"] for part in ("hip", "knee", "ankle", "heel", "foot_index")] for side in ("left", "right")]


def exchanged(track: Track, when: np.ndarray, share: float = 1.0) -> Track:
    """The track with left and right leg exchanged at these moments, or only part of the way."""
    xy = track.xy.copy()
    for one, other in (LEGS, LEGS[::-1]):
        xy[np.ix_(when, one)] = (1 - share) * track.xy[np.ix_(when, one)] + share * track.xy[np.ix_(when, other)]
    return replace(track, xy=xy)


@pytest.mark.parametrize("seconds", [0.1, 0.3, 0.7])
def test_a_trunk_seen_head_down_for_a_moment_is_no_skill(seconds: float) -> None:
    track = film(bodies.backward_roll(), noise=1.0)
    when = (track.t > 3.9 - seconds / 2) & (track.t < 3.9 + seconds / 2)
    xy = track.xy.copy()
    for side in ("left", "right"):
        a, b = INDEX[f"{side}_shoulder"], INDEX[f"{side}_hip"]
        xy[np.ix_(when, [a, b])] = track.xy[np.ix_(when, [b, a])]
    assert [a.skill for a in find_attempts(replace(track, xy=xy))] == [Skill.BACKWARD_ROLL]


def test_a_roll_in_whose_middle_the_trunk_is_seen_head_up_stays_one() -> None:
    track = film(bodies.backward_roll(), noise=1.0)
    when = (track.t > 2.2) & (track.t < 2.4)
    xy = track.xy.copy()
    for side in ("left", "right"):
        a, b = INDEX[f"{side}_shoulder"], INDEX[f"{side}_hip"]
        xy[np.ix_(when, [a, b])] = track.xy[np.ix_(when, [b, a])]
    assert [a.skill for a in find_attempts(replace(track, xy=xy))] == [Skill.BACKWARD_ROLL]


def test_a_stand_whose_legs_are_taken_for_anothers_most_of_the_time_is_found() -> None:
    """The hold lasts from 2.2 to 3.2 s; the legs flicker from 2.3 to 3.1 s."""
    track = film(bodies.shoulder_stand(), noise=1.0)
    flicker = (track.t > 2.3) & (track.t < 3.1) & (np.arange(len(track)) // 5 % 2 == 0)
    xy = track.xy.copy()
    for leg in LEGS:
        knee_down = leg[1:]
        xy[np.ix_(flicker, knee_down)] += np.array([90.0, 60.0])
    (found,) = find_attempts(replace(track, xy=xy))
    assert found.skill is Skill.SHOULDER_STAND
    assert 2.0 < found.key_start_s < found.key_end_s < 3.4


def test_legs_exchanged_over_three_frames_do_not_end_a_lunges_hold() -> None:
    """The hold lasts from 1.5 to 2.7 s; the legs are exchanged until 2.05 s and go over into their own within three frames."""
    track = film(bodies.lunge(), noise=1.0)
    swapped = exchanged(track, (track.t > 1.3) & (track.t < 2.05))
    for k, at in enumerate((2.07, 2.1, 2.13)):
        swapped = exchanged(swapped, np.abs(track.t - at) < 0.016, 0.75 - 0.25 * k)
    (found,) = find_attempts(swapped)
    assert found.skill is Skill.LUNGE
    assert found.key_end_s - found.key_start_s > 0.8


def test_feet_far_apart_tell_a_cartwheel_where_the_floor_is_lost() -> None:
    s = signals(film(bodies.cartwheel(), turned=-90.0))
    assert s is not None
    (over,) = times_over(s)
    low = replace(over, shoulders=0.5, feet=1.7)  # as high as she seems who wheels away over a floor taken for level
    assert over.apart > 1.3 and on_hands(low) > 0.8
    assert on_hands(replace(low, apart=0.2)) < 0.5
    assert on_hands(replace(over, apart=0.2)) > 0.8, "a cartwheel with closed feet stays one"


@pytest.mark.parametrize(("before", "after"), [(-125.0, -55.0), (0.0, -90.0), (0.0, 90.0), (-60.0, -150.0)])
def test_a_turn_shows_in_the_feet_where_the_hips_look_as_wide(before: float, after: float) -> None:
    """Degrees she faces, 0 to the picture's right, -90 the camera."""
    stand = bodies.Motion(np.arange(30) / 30, np.repeat(on_floor(np.stack([skeleton(bodies.STAND)] * 2))[:1], 30, axis=0))
    faced = []
    for way in (before, after):
        s = signals(film(stand, turned=way))
        assert s is not None
        faced.append(np.nanmedian(heading(s), axis=0))
    assert np.linalg.norm(faced[1] - faced[0]) > TURNED
