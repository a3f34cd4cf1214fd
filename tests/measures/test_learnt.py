"""Corrections at poses: known weights at known poses, mirror images alike, and exact joints left as they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.find import find_attempts
from pipeline.landmarks.near_angles import COUNT
from pipeline.landmarks.net import FEATURES
from pipeline.landmarks.track import NAMES as LANDMARKS
from pipeline.landmarks.track import HoldLook, Track
from pipeline.measures.learnt import BEYOND, HOLD_NAMES, MOST, NAMES, PARTS_LEFT_OUT, TABLE, Correction, corrections, pose_numbers
from pipeline.measures.measure import measure_attempt
from pipeline.measures.scene import make_scene
from pipeline.vocabulary import DETAIL, Side, Skill
from tests.measures import bodies
from tests.measures.bodies import film

HIP = (Skill.SHOULDER_STAND, "hip_angle")
K = len(NAMES)


def correction(most: float = 10.0, **weights: float) -> Correction:
    """One whose numbers are 0 on average with sd 1."""
    return Correction(np.zeros(K), np.ones(K), np.array([weights.get(name, 0.0) for name in NAMES]), most)


def followed(track: Track) -> Track:
    """The same, as if two looks had been taken at it."""
    return replace(track, disagreement=np.full_like(track.disagreement, 0.5))


def stand(turned: float = 0.0) -> Track:
    return followed(film(bodies.shoulder_stand(), turned=turned))


def hip(track: Track, learnt: dict) -> float:
    return next(r.value for r in measure_attempt(track, find_attempts(track)[0], learnt=learnt)[0] if r.detail == "hip_angle")


def test_numbers_count_by_their_weight_up_to_what_is_usual() -> None:
    learnt = correction(own_knee_up=2.0, trunk_up=-1.0)
    numbers = np.zeros(K)
    numbers[NAMES.index("own_knee_up")], numbers[NAMES.index("trunk_up")] = 1.5, 0.5
    assert learnt.of(numbers) == pytest.approx(2 * 1.5 - 0.5)
    numbers[NAMES.index("own_knee_up")] = 50.0  # no child's pose
    assert learnt.of(numbers) == pytest.approx(2 * BEYOND - 0.5)
    assert correction(most=1.0, own_knee_up=2.0).of(numbers) == 1.0


def test_a_number_that_is_not_known_counts_as_usual() -> None:
    assert correction(own_knee_up=2.0).of(np.full(K, np.nan)) == 0.0


def test_a_reading_is_moved_by_what_is_learnt() -> None:
    track = stand()
    shift = Correction(np.zeros(K), np.full(K, 1e-3), np.array([1.0 if n == "own_knee_up" else 0.0 for n in NAMES]), 2.0)
    up = -1.0 if pose_numbers(make_scene(track, find_attempts(track)[0]), Side.LEFT)[NAMES.index("own_knee_up")] < 0 else 1.0
    assert hip(track, {HIP: shift}) - hip(track, {}) == pytest.approx(2.0 * up)  # far from 0 in sds: as much as it may


def test_features_of_a_near_look_count_the_way_she_faces() -> None:
    """Of looks in which she faces right it comes first: the plain ones where she does, the mirrored ones where she faces left."""
    track = stand()
    attempt = find_attempts(track)[0]
    features = np.stack([np.full(FEATURES, 3.0), np.full(FEATURES, 7.0)])
    look = HoldLook(attempt.key_start_s, attempt.key_end_s, features, np.full(COUNT, np.nan))
    seen = replace(track, looks=(look,))
    first, second = (3.0, 7.0) if attempt.direction > 0 else (7.0, 3.0)
    for told, a, b in ((attempt, first, second), (replace(attempt, direction=-attempt.direction), second, first)):
        numbers = make_scene(seen, told).features
        assert set(numbers[:FEATURES]) == {a} and set(numbers[FEATURES:]) == {b}
    another = replace(track, looks=(replace(look, start=9.0, end=9.5),))
    assert np.isnan(make_scene(another, attempt).features).all(), "another hold's"
    weight = np.zeros(len(HOLD_NAMES))
    weight[K] = 0.5
    learnt = {HIP: Correction(np.zeros(len(weight)), np.full(len(weight), 10.0), weight, 9.0)}
    assert hip(seen, learnt) - hip(seen, {}) == pytest.approx(0.5 * first / 10.0)
    assert hip(track, learnt) == hip(track, {}), "nobody looked from near by: as usual"


def test_exact_joints_and_those_looked_at_once_are_left_alone() -> None:
    shift = {HIP: Correction(np.full(K, -9.0), np.ones(K), np.ones(K), 5.0)}
    exact = film(bodies.shoulder_stand())
    once = replace(exact, disagreement=np.full_like(exact.disagreement, np.nan))
    assert hip(exact, shift) == hip(exact, {}) and hip(once, shift) == hip(once, {})


def test_a_pose_and_its_mirror_image_have_the_same_numbers() -> None:
    """Filmed from her other side with left and right exchanged: the picture's mirror image."""
    track = stand()
    swap = [LANDMARKS.index(n.replace("left", "\0").replace("right", "left").replace("\0", "right")) for n in LANDMARKS]
    turned = replace(track, xy=(track.xy * [-1.0, 1.0] + [float(track.size[0]), 0.0])[:, swap], z=track.z[:, swap])
    one, other = (make_scene(t, find_attempts(t)[0]) for t in (track, turned))
    assert one.facing == -other.facing
    np.testing.assert_allclose(pose_numbers(one, Side.LEFT), pose_numbers(other, Side.RIGHT), atol=1e-6)


def test_numbers_are_the_body_in_its_own_trunks() -> None:
    track = stand()
    numbers = dict(zip(NAMES, pose_numbers(make_scene(track, find_attempts(track)[0]), Side.LEFT), strict=True))
    both = [numbers[f"{side}_shoulder_up"] for side in ("own", "other")]
    assert np.mean(both) == pytest.approx(numbers["trunk_length"], abs=0.02) and numbers["own_ankle_up"] < numbers["own_knee_up"] < 0
    assert numbers["trunk_up"] > 0.9  # y down in the picture: the shoulders lie below the hips


def test_the_committed_table_is_whole_and_corrects_no_more_than_it_says() -> None:
    for left_out in range(PARTS_LEFT_OUT + 1):
        table = corrections(left_out, TABLE)
        assert table and set(table) <= set(DETAIL)
        for key, learnt in table.items():
            assert np.isfinite([learnt.mean, learnt.sd, learnt.weight]).all() and (learnt.sd > 0).all(), key
            assert 0 < learnt.most < 20
    assert (corrections(0)[HIP].weight != corrections(1)[HIP].weight).any()
    assert f",{MOST}," in TABLE.read_text(encoding="utf-8")


@pytest.mark.parametrize("motion", [bodies.shoulder_stand(), bodies.lunge()])
def test_a_body_never_seen_is_corrected_by_a_few_degrees_at_most(motion: bodies.Motion) -> None:
    """Stick figures of other proportions than the drawn bodies' are moved by less than a coach would see."""
    track = followed(film(motion, turned=12.0))
    attempt = find_attempts(track)[0]
    with_it, without = ({r.detail: r.value for r in measure_attempt(track, attempt, learnt=learnt)[0]} for learnt in (corrections(), {}))
    moved = [abs(with_it[d] - without[d]) for s, d in corrections(0, TABLE) if s is attempt.skill]
    assert 0 < max(moved) < 5.0
