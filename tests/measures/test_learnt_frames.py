"""Corrections frame by frame: known numbers at known poses, what is added where, and exact joints left as they are."""

from __future__ import annotations

import csv
from dataclasses import replace
from itertools import groupby

import numpy as np
import pytest

from pipeline.attempts.find import find_attempts
from pipeline.landmarks.track import NAMES as LANDMARKS
from pipeline.landmarks.track import Track
from pipeline.measures.cartwheel import knee_angle
from pipeline.measures.learnt import ALWAYS, FRAMES_TABLE, MOST, NAMES, PARTS_LEFT_OUT, Correction, corrections, pose_numbers
from pipeline.measures.learnt_frames import (
    EACH,
    FRAME_NAMES,
    KNOTS,
    WINDOW,
    WINDOW_NAMES,
    blended,
    frame_numbers,
    put_right_frames,
    window_correction,
)
from pipeline.measures.measure import measure_attempt
from pipeline.measures.scene import Scene, make_scene
from pipeline.vocabulary import Side, Skill
from tests.measures import bodies
from tests.measures.bodies import film

STAND_HIP, K = (Skill.SHOULDER_STAND, f"hip_angle {EACH}"), len(FRAME_NAMES)


def adds(always: float, k: int = K, **weights: float) -> Correction:
    """One that adds `always`, and more where numbers differ from 0."""
    return Correction(np.zeros(k), np.ones(k), np.array([weights.get(name, 0.0) for name in FRAME_NAMES[:k]]), 10.0, always)


def followed(track: Track) -> Track:
    """The same, as if two looks had been taken at it."""
    return replace(track, disagreement=np.full_like(track.disagreement, 0.5))


def scene_of(track: Track, learnt: dict) -> Scene:
    return make_scene(track, find_attempts(track)[0], learnt=learnt)


def named(row: np.ndarray) -> dict[str, float]:
    return dict(zip(FRAME_NAMES, row, strict=True))


def test_every_curve_and_only_the_one_learnt_is_moved() -> None:
    track = followed(film(bodies.shoulder_stand()))
    attempt = find_attempts(track)[0]
    with_it, without = (
        {c.detail: c.value for c in measure_attempt(track, attempt, learnt=learnt)[1]} for learnt in ({STAND_HIP: adds(3.0)}, {})
    )
    np.testing.assert_allclose(with_it["hip_angle"], without["hip_angle"] + 3.0)
    np.testing.assert_array_equal(with_it["knee_angle"], without["knee_angle"])


def test_no_knee_is_straighter_than_straight() -> None:
    track = followed(film(bodies.shoulder_stand()))
    learnt = {(Skill.SHOULDER_STAND, f"knee_angle {EACH}"): adds(30.0), STAND_HIP: adds(30.0)}
    curves = {c.detail: c.value for c in measure_attempt(track, find_attempts(track)[0], learnt=learnt)[1]}
    assert np.nanmax(curves["knee_angle"]) == 180.0 and np.nanmax(curves["hip_angle"]) > 200.0  # a hip may arch


def test_exact_joints_are_left_alone() -> None:
    scene = scene_of(film(bodies.shoulder_stand()), {STAND_HIP: adds(3.0)})
    angle = np.linspace(90.0, 180.0, len(scene.t))
    assert put_right_frames(scene, "hip_angle", Side.LEFT, angle) is angle


def test_one_correction_passes_into_the_other_as_the_trunk_turns_over() -> None:
    """Upright (shoulders a trunk above the hips) only the first, upside down only the second, lying on the back half of each."""
    numbers = np.zeros((3, K))
    numbers[:, FRAME_NAMES.index("trunk_up")] = [-1.0, 1.0, 0.0]  # y down in the picture
    np.testing.assert_allclose(blended(numbers, adds(1.0), adds(5.0)), [1.0, 5.0, 3.0])
    np.testing.assert_allclose(blended(numbers, adds(1.0), None), [1.0, 1.0, 1.0])


def test_a_held_pose_has_the_numbers_of_the_hold_and_nothing_changes_around_it() -> None:
    scene = scene_of(followed(film(bodies.shoulder_stand())), {})
    angle = np.full(len(scene.t), 140.0)
    held = np.flatnonzero(scene.key)[scene.key.sum() // 2]
    numbers = named(frame_numbers(scene, Side.LEFT, angle)[held])
    whole = dict(zip(NAMES, pose_numbers(scene, Side.LEFT), strict=True))
    assert [numbers[n] for n in NAMES] == pytest.approx([whole[n] for n in NAMES], abs=0.5)  # degrees and trunks
    assert numbers["own_knee_up"] == pytest.approx(whole["own_knee_up"], abs=0.02)
    assert [numbers[f"beyond_{k}"] for k in KNOTS] == [max(0, 140 - k) for k in KNOTS]
    assert abs(numbers["own_knee_bend_+0.1_s"]) < 1.0
    assert 0.5 < numbers["own_thigh_of_longest"] < 1.1


def test_before_and_after_are_what_they_are_named() -> None:
    """While a roll turns over, the trunk's slant a tenth of a second later is the one read then."""
    scene = scene_of(followed(film(bodies.backward_roll())), {})
    numbers = frame_numbers(scene, Side.LEFT, np.full(len(scene.t), 90.0))
    up = numbers[:, FRAME_NAMES.index("trunk_up")]
    i = len(scene.t) // 2
    later = np.interp(scene.t[i] + 0.1, scene.t, up)
    assert numbers[i, FRAME_NAMES.index("trunk_up_+0.1_s")] == pytest.approx(later - up[i])


def test_a_pose_and_its_mirror_image_have_the_same_numbers() -> None:
    track = followed(film(bodies.shoulder_stand()))
    swap = [LANDMARKS.index(n.replace("left", "\0").replace("right", "left").replace("\0", "right")) for n in LANDMARKS]
    turned = replace(track, xy=(track.xy * [-1.0, 1.0] + [float(track.size[0]), 0.0])[:, swap], z=track.z[:, swap])
    one, other = (scene_of(t, {}) for t in (track, turned))
    angle = np.full(len(one.t), 150.0)
    np.testing.assert_allclose(
        frame_numbers(one, Side.LEFT, angle), frame_numbers(other, Side.RIGHT, angle), atol=1e-3
    )  # degrees and trunks


def test_a_cartwheels_knee_is_the_windows_middle_and_what_was_learnt() -> None:
    track = followed(film(bodies.cartwheel(left_knee=150.0), turned=-90.0))
    attempt = find_attempts(track)[0]
    learnt = {(Skill.CARTWHEEL, f"knee_angle {WINDOW}"): adds(-4.0, len(WINDOW_NAMES))}
    scene = make_scene(track, attempt, learnt=learnt)
    assert window_correction(scene, "knee_angle") is not None
    with_it, without = (
        next(r.value for r in measure_attempt(track, attempt, learnt=known)[0] if r.detail == "knee_angle" and r.side is Side.LEFT)
        for known in (learnt, {})
    )
    frames = knee_angle(scene, Side.LEFT)[scene.key]
    middle, scatter = np.median(frames), 1.4826 * np.median(np.abs(frames - np.median(frames)))
    assert with_it - without == pytest.approx((middle - 4.0) - (middle - scatter), abs=1e-6)


def test_the_committed_table_has_the_numbers_in_their_order() -> None:
    rows = list(csv.DictReader(line for line in FRAMES_TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")))
    for (skill, detail), mine in groupby(rows, key=lambda r: (r["skill"], r["detail"])):
        names = WINDOW_NAMES if detail.endswith(WINDOW) else FRAME_NAMES
        assert [r["number"] for r in mine] == [*names, MOST, ALWAYS]
        for left_out in range(PARTS_LEFT_OUT + 1):
            learnt = corrections(left_out)[Skill(skill), detail]
            assert np.isfinite([learnt.mean, learnt.sd, learnt.weight]).all() and (learnt.sd > 0).all()
            assert 0 < learnt.most < 25 and abs(learnt.always) < 25
