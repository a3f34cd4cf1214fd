"""A mirror on the wall behind: the reflection does the skill too and is nobody else; a smaller child beside is somebody."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts import whose
from pipeline.attempts.find import find_attempts
from pipeline.attempts.reflection import reflection
from pipeline.landmarks.choose import OPEN_CHOICE, open_choice
from pipeline.landmarks.track import INDEX, NAMES, Track
from pipeline.vocabulary import Skill
from tests.measures import bodies
from tests.measures.bodies import Motion, film

ALIKE = f"{OPEN_CHOICE} (85 %); which of them was filmed cannot be told."
EXCHANGED = [INDEX[n.replace("left", "*").replace("right", "left").replace("*", "right")] for n in NAMES]
SIDE_ON, FACING = 0.0, -90.0  # how she stands to camera and mirror
SKILLS = {
    "lunge": (bodies.lunge, SIDE_ON),
    "shoulder stand": (bodies.shoulder_stand, SIDE_ON),
    "backward roll": (bodies.backward_roll, SIDE_ON),
    "cartwheel": (bodies.cartwheel, FACING),
}


def in_mirror(motion: Motion, *, scale: float = 112.5, stands: float = SIDE_ON, turned: float = 0.0, noise: float = 1.0) -> Track:
    """A mirror stands behind her, along the picture where the camera is not `turned`. A point and its image lie as far from the mirror, on one line across it (Euclid,
    Optics: plane mirrors), so her depth is reversed; and who sees the image sees a body whose left hand is on the other side."""
    across = [-1.0, 1.0, 1.0] if stands == FACING else [1.0, -1.0, 1.0]
    behind = replace(motion, joints=(motion.joints * across)[:, EXCHANGED])
    return film(behind, scale=scale, turned=stands + turned, noise=noise, shift=(250.0, -150.0), rng=np.random.default_rng(1))


def smaller(motion: Motion, *, scale: float = 112.5) -> Track:
    """A child behind, filmed as she is."""
    return film(motion, scale=scale, shift=(250.0, -150.0))


def exchanged(track: Track) -> Track:
    return replace(track, xy=track.xy[:, EXCHANGED])


def without(track: Track, *parts: str, frames: slice = slice(None)) -> Track:
    """The track with nothing of these parts: they lie beyond the mirror or the picture."""
    xy = track.xy.copy()
    for part in parts:
        xy[frames, [INDEX[f"left_{part}"]]] = xy[frames, [INDEX[f"right_{part}"]]] = np.nan
    return replace(track, xy=xy)


def later(track: Track, seconds: float) -> Track:
    """The same, begun so much later."""
    ago = np.maximum(np.arange(len(track)) - round(seconds * 30), 0)
    return replace(track, xy=track.xy[ago])


def chosen(first: Track, *others: Track) -> Track:
    return whose.athlete(replace(first, others=others, notes=(ALIKE,)))


@pytest.mark.parametrize("turned", [0.0, 15.0])
@pytest.mark.parametrize("skill", SKILLS)
def test_the_nearer_of_a_child_and_her_reflection_is_the_athlete(skill: str, turned: float) -> None:
    moves, stands = SKILLS[skill]
    child, image = film(moves(), turned=stands + turned), in_mirror(moves(), stands=stands, turned=turned)
    assert find_attempts(child) and find_attempts(image)
    for got in (chosen(child, image), chosen(image, child)):
        np.testing.assert_array_equal(got.xy, child.xy)
        assert got.notes == () and got.others == ()


@pytest.mark.parametrize("seconds", [0.1, 0.2, 0.5])
def test_a_smaller_child_at_another_time_keeps_the_choice_open(seconds: float) -> None:
    child, late = film(bodies.lunge()), later(in_mirror(bodies.lunge()), seconds)
    assert find_attempts(late)
    assert open_choice(chosen(child, late).notes)


def test_a_long_hold_hides_no_delay() -> None:
    """Over a long hold two in the same pose differ little however late the one came: how late she is, tells."""
    lunge = bodies.lunge()
    frames = np.insert(np.arange(len(lunge.t)), 60, np.full(180, 60))
    held = replace(lunge, t=np.arange(len(frames)) / 30, joints=lunge.joints[frames])
    child, image = film(held), in_mirror(held)
    did, beside = find_attempts(image), find_attempts(child)
    assert reflection(image, child, did, beside)
    assert not reflection(later(image, 0.1), child, did, beside)


@pytest.mark.parametrize("change", [{"start_s": 0.3}, {"end_s": 4.0}, {"skill": Skill.LOADED_LUNGE}])
def test_a_reflection_did_the_same_skill_at_the_same_time(change: dict) -> None:
    child, image = film(bodies.lunge()), in_mirror(bodies.lunge())
    did = find_attempts(image)
    assert reflection(image, child, did, find_attempts(child))
    assert not reflection(image, child, did, [replace(did[0], **change)])


def test_a_smaller_child_in_step_with_the_same_leg_keeps_the_choice_open() -> None:
    child = film(bodies.lunge())
    assert open_choice(chosen(child, smaller(bodies.lunge())).notes)
    assert not open_choice(chosen(child, exchanged(smaller(bodies.lunge()))).notes)


@pytest.mark.parametrize("other", [{"shoulder": 140.0, "hip": 165.0}, {"hip": 150.0, "knee": 160.0}])
def test_a_smaller_child_in_step_but_otherwise_keeps_the_choice_open(other: dict[str, float]) -> None:
    child, image = film(bodies.lunge()), in_mirror(bodies.lunge(**other))
    assert find_attempts(image)
    assert open_choice(chosen(child, image).notes)


@pytest.mark.parametrize(("scale", "stays"), [(250.0, True), (210.0, True), (170.0, False)])
def test_two_of_like_size_in_step_keep_the_choice_open(scale: float, stays: bool) -> None:
    got = chosen(film(bodies.lunge()), in_mirror(bodies.lunge(), scale=scale))
    assert open_choice(got.notes) == stays


def test_a_reflection_does_not_hide_another_child() -> None:
    child, image = film(bodies.lunge()), in_mirror(bodies.lunge())
    third = later(film(bodies.lunge(), shift=(-400.0, 0.0)), 0.5)
    assert open_choice(chosen(child, image, third).notes)
    assert open_choice(chosen(image, third, child).notes)


def test_a_reflection_partly_seen_is_known_by_what_is_seen() -> None:
    child, image = film(bodies.lunge()), in_mirror(bodies.lunge())
    did, beside = find_attempts(image), find_attempts(child)
    assert reflection(without(image, "wrist"), child, did, beside)  # the mirror ends above her head
    assert reflection(image, without(child, "wrist"), did, beside)  # or the picture does
    assert not reflection(without(image, "wrist", "elbow", "ankle"), child, did, beside)  # too little: 3 of 9 parts


def test_a_reflection_alone_does_not_settle_the_choice() -> None:
    child, image = without(film(bodies.lunge()), "ankle", "heel", "foot_index"), in_mirror(bodies.lunge())
    assert not find_attempts(child) and find_attempts(image)  # her feet are out of the picture
    assert open_choice(chosen(child, image).notes)


def test_who_did_nothing_is_no_reflection() -> None:
    child, image = film(bodies.lunge()), in_mirror(bodies.lunge())
    assert not reflection(image, child, [], find_attempts(child))
    assert not reflection(image, child, find_attempts(image), [])
