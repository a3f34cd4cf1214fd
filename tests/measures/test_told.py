"""The near look's word on held angles: how far a reading goes towards it, which details it is about, and which way hips are counted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.find import find_attempts
from pipeline.landmarks.holds import EASE_S
from pipeline.landmarks.near_angles import ANGLES, COUNT, HIPS
from pipeline.landmarks.net import FEATURES
from pipeline.landmarks.track import HoldLook, Track
from pipeline.measures.lunge import back_leg
from pipeline.measures.measure import measure_attempt
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene, make_scene, other
from pipeline.measures.shoulder_stand import FAR_LEG
from pipeline.measures.told import CLOSE, DOUBT, FAR, SHARE, curve_towards, told, towards
from pipeline.measures.uncertainty import Evidence
from pipeline.measures.words import arm_elsewhere, seen_elsewhere
from pipeline.vocabulary import Side
from tests.attempts.routines import loaded_lunge
from tests.measures import bodies
from tests.measures.bodies import Motion, film
from tests.measures.told import NO_MODEL_ERROR

NAN = float("nan")
LITTLE = CLOSE / 2  # degrees that a word is off and is trusted
HELD = Evidence(150.0, passes=3.0, line=("left_hip", "left_knee", "left_ankle"))


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("apart", "trusted"), [(LITTLE, 1.0), (CLOSE, 1.0), ((CLOSE + FAR) / 2, 0.5), (FAR, 0.0), (90.0, 0.0)])
def test_a_reading_goes_its_share_of_the_way_and_less_the_further_its_word_is_off(apart, trusted, sign):
    moved = towards(HELD, HELD.value + sign * apart)
    assert moved.value - HELD.value == pytest.approx(sign * SHARE * trusted * apart)
    assert 0 < SHARE < 1 and 0 < CLOSE < FAR
    assert replace(moved, value=HELD.value, passes=HELD.passes) == HELD, "nothing else changes"


def test_the_further_apart_the_more_it_is_in_doubt():
    assert towards(HELD, 150.0) == HELD
    for apart in (5.0, -9.0, 40.0):
        assert towards(HELD, 150.0 + apart).passes == pytest.approx(np.sqrt(3.0**2 + (DOUBT * apart) ** 2))


def test_what_was_not_read_or_told_is_left_alone():
    for evidence in (Evidence(NAN), replace(HELD, problem="The hip was not seen.")):
        moved = towards(evidence, 152.0)
        assert moved is evidence
    assert towards(HELD, NAN) is HELD


def test_what_is_seen_elsewhere_is_not_read():
    for word in (np.inf, -np.inf):  # arms are told as 180 less an angle
        refused = towards(HELD, word)
        assert np.isnan(refused.value) and refused.problem == seen_elsewhere("In the hold")
    earlier = replace(HELD, problem="The hip was not seen.")
    assert towards(earlier, np.inf) is earlier


def test_no_reading_goes_further_than_a_body_can():
    limited = replace(HELD, value=180.0 - SHARE * LITTLE / 2, limits=(0.0, 180.0))
    assert towards(limited, limited.value + LITTLE).value == 180.0
    assert towards(replace(limited, limits=(-np.inf, np.inf)), limited.value + LITTLE).value == pytest.approx(180.0 + SHARE * LITTLE / 2)
    assert towards(replace(limited, value=0.1), 0.1 - LITTLE).value == 0.0


def held(motion: Motion, turned: float) -> tuple[Track, Attempt, Scene]:
    """A motion as it is filmed, its one attempt, and the scene of that without any word."""
    track = film(motion, turned=turned)
    (attempt,) = find_attempts(track)
    scene = make_scene(track, attempt)
    assert scene.facing == (1 if turned < 90 else -1) and np.isnan(scene.told).all()
    return track, attempt, scene


def looked(track: Track, attempt: Attempt, words: dict[tuple[Side, str], float]) -> Track:
    """The track where the near look tells words of the picture, such as {(Side.LEFT, "knee"): 170.0}, and nothing else."""
    angles = np.full(COUNT, np.nan)
    for (side, angle), value in words.items():
        angles[ANGLES.index(angle) + len(ANGLES) * (side is Side.RIGHT)] = value
    look = HoldLook(attempt.key_start_s, attempt.key_end_s, np.full((2, FEATURES), np.nan), angles)
    return replace(track, looks=(look,))


def read(track: Track, attempt: Attempt, words: dict[tuple[Side, str], float] | None = None) -> dict[str, Reading]:
    """The readings with these words of the near look; None: where nobody looked."""
    seen = track if words is None else looked(track, attempt, words)
    found = measure_attempt(seen, attempt, table=NO_MODEL_ERROR, learnt={})[0]
    return {r.detail: r for r in found if r.side is Side.NONE and np.isfinite(r.value)}


def in_picture(scene: Scene, degrees: float) -> float:
    """A hip's degrees round her front as the picture counts them, clockwise from the trunk."""
    return degrees if scene.facing > 0 else 360.0 - degrees


def moved(before: dict[str, Reading], after: dict[str, Reading]) -> dict[str, float]:
    """By how much each reading that is another now was moved."""
    assert set(before) == set(after)
    numbers = [{d: (r.value, r.low, r.high) for d, r in found.items()} for found in (before, after)]
    return {d: after[d].value - before[d].value for d in before if numbers[0][d] != pytest.approx(numbers[1][d], abs=1e-9)}


FACING = pytest.mark.parametrize("turned", [0.0, 180.0], ids=["facing right", "facing left"])


@FACING
def test_a_stand_s_folds_go_towards_what_is_told_of_both_legs(turned):
    """Counted round the front: a little more at the nearer hip and twice that at the further one are a third more of the legs' line."""
    track, attempt, scene = held(bodies.shoulder_stand(hip=160.0, knee=170.0), turned)
    plain = read(track, attempt)
    for detail, angle in (("hip_angle", "hip_to_ankle"), ("hip_knee_angle", "hip_to_knee")):
        value = plain[detail].value
        near, far = ((side, angle) for side in (scene.near, other(scene.near)))
        both = {near: in_picture(scene, value + LITTLE), far: in_picture(scene, value + 2 * LITTLE)}
        assert moved(plain, read(track, attempt, both)) == {detail: pytest.approx(SHARE * (1 + FAR_LEG) * LITTLE)}
        one = {near: in_picture(scene, value - LITTLE)}
        assert moved(plain, read(track, attempt, one)) == {detail: pytest.approx(-SHARE * LITTLE)}
        assert moved(plain, read(track, attempt, {far: in_picture(scene, value + LITTLE)})) == {}, "the nearer leg is what is read"


@FACING
def test_knees_and_shoulders_of_a_stand_are_not_its_details(turned):
    track, attempt, _ = held(bodies.shoulder_stand(hip=160.0, knee=170.0), turned)
    words = {(side, angle): 90.0 for side in (Side.LEFT, Side.RIGHT) for angle in ("knee", "shoulder")}
    assert moved(read(track, attempt), read(track, attempt, words)) == {}


@FACING
@pytest.mark.parametrize("lead", ["left", "right"])
def test_a_lunge_s_back_leg_and_nearer_arm_go_towards_their_own_words(turned, lead):
    track, attempt, scene = held(bodies.lunge(hip=170.0, knee=165.0, shoulder=150.0, lead=lead), turned)
    back, arm, plain = back_leg(scene), scene.near, read(track, attempt)
    assert back is (Side.RIGHT if lead == "left" else Side.LEFT)
    agreed = {(arm, "shoulder"): plain["shoulder_angle"].value}  # the arm is seen where it is held
    assert moved(plain, read(track, attempt, agreed)) == {}
    hip = {(back, "hip_to_knee"): in_picture(scene, plain["hip_angle"].value + LITTLE)}
    assert moved(plain, read(track, attempt, agreed | hip)) == {"hip_angle": pytest.approx(SHARE * LITTLE)}
    knee = {(back, "knee"): plain["knee_angle"].value - LITTLE}
    assert moved(plain, read(track, attempt, agreed | knee)) == {"knee_angle": pytest.approx(-SHARE * LITTLE)}
    shoulder = {(arm, "shoulder"): plain["shoulder_angle"].value + LITTLE}
    assert moved(plain, read(track, attempt, shoulder)) == {
        "shoulder_angle": pytest.approx(SHARE * LITTLE), "arms_by_ears": pytest.approx(-SHARE * LITTLE)
    }  # fmt: skip
    front, further = other(back), other(arm)
    elsewhere = {(front, "hip_to_knee"): in_picture(scene, 172.0), (front, "knee"): 160.0, (further, "shoulder"): 155.0}
    elsewhere |= {(side, "hip_to_ankle"): in_picture(scene, 172.0) for side in (back, front)}
    assert moved(plain, read(track, attempt, agreed | elsewhere)) == {}


@FACING
def test_a_loaded_lunge_s_back_knee_and_nearer_arm_go_towards_their_own_words(turned):
    track, attempt, scene = held(loaded_lunge(), turned)
    back, arm, plain = back_leg(scene), scene.near, read(track, attempt)
    agreed = {(arm, "shoulder"): 180.0 - plain["arms_by_ears"].value}
    knee = {(back, "knee"): plain["knee_angle"].value + LITTLE}
    assert moved(plain, read(track, attempt, agreed | knee)) == {"knee_angle": pytest.approx(SHARE * LITTLE)}
    shoulder = {(arm, "shoulder"): 180.0 - plain["arms_by_ears"].value - LITTLE}
    assert moved(plain, read(track, attempt, shoulder)) == {"arms_by_ears": pytest.approx(SHARE * LITTLE)}
    assert moved(plain, read(track, attempt, agreed | {(other(back), "knee"): 60.0, (other(arm), "shoulder"): 170.0})) == {}


@FACING
def test_a_word_widens_its_interval_and_one_of_another_limb_moves_nothing(turned):
    track, attempt, scene = held(bodies.lunge(hip=170.0, knee=150.0), turned)
    back, plain = back_leg(scene), read(track, attempt)
    away = plain["knee_angle"].value - FAR - 20.0
    after = read(track, attempt, {(back, "knee"): away, (scene.near, "shoulder"): 180.0 - plain["arms_by_ears"].value})["knee_angle"]
    wide = 2 * 1.96 * DOUBT * (FAR + 20.0)
    assert after.value == pytest.approx(plain["knee_angle"].value)
    assert after.high - after.low == pytest.approx(np.hypot(wide, plain["knee_angle"].high - plain["knee_angle"].low))


@FACING
@pytest.mark.parametrize("motion", [bodies.lunge(), loaded_lunge()], ids=["lunge", "loaded lunge"])
def test_a_lunge_whose_nearer_arm_the_near_look_does_not_see_there_is_not_read(turned, motion):
    """It tells of her legs and of her other arm, so it sees her: the arm that is held may be somebody else's."""
    track, attempt, scene = held(motion, turned)
    arm = scene.near
    assert read(track, attempt) and read(track, attempt, {}), "where nobody looked, or nothing was told, nothing speaks against it"
    assert read(track, attempt, {(arm, "shoulder"): 90.0}), "however differently the arm is told"
    assert read(track, attempt, {(other(arm), "shoulder"): np.inf, (Side.LEFT, "knee"): 170.0}), "the arm that is read is not looked for"
    words = {(arm, "shoulder"): np.inf, (Side.LEFT, "knee"): 170.0}  # seen elsewhere
    assert read(track, attempt, words) == {}
    found = measure_attempt(looked(track, attempt, words), attempt, table=NO_MODEL_ERROR, learnt={})[0]
    assert arm_elsewhere() in {r.reason for r in found}


@FACING
def test_a_stand_s_ankle_seen_elsewhere_leaves_hips_and_legs_open_and_nothing_else(turned):
    track, attempt, scene = held(bodies.shoulder_stand(hip=160.0), turned)
    plain, seen = read(track, attempt), read(track, attempt, {(scene.near, "hip_to_ankle"): np.inf})
    assert set(plain) - set(seen) == {"hip_angle", "leg_to_vertical"}
    assert {detail: r.value for detail, r in seen.items()} == {detail: plain[detail].value for detail in seen}
    assert set(read(track, attempt, {(other(scene.near), "hip_to_ankle"): np.inf})) == set(plain), "the further leg may be hidden"


def test_a_curve_goes_as_far_over_the_hold_and_stays_as_it_is_away_from_it():
    _, attempt, scene = held(bodies.shoulder_stand(hip=160.0), 0.0)
    value = np.linspace(150.0, 170.0, len(scene.t))
    middle = float(np.median(value[scene.key]))
    by = curve_towards(scene, value, middle + LITTLE) - value
    assert by[scene.key] == pytest.approx(SHARE * LITTLE)
    away = (scene.t < attempt.key_start_s - EASE_S - 0.1) | (scene.t > attempt.key_end_s + EASE_S + 0.1)
    beside = ~away & ~scene.key
    assert away.any() and beside.any() and (by[away] == 0).all() and (by[beside] >= 0).all() and (by[beside] <= SHARE * LITTLE).all()
    assert np.abs(np.diff(by)).max() < SHARE * LITTLE / 2, "nothing jumps"
    for word in (NAN, np.inf):
        assert curve_towards(scene, value, word) is value
    unseen = np.full(len(value), NAN)
    assert curve_towards(scene, unseen, 170.0) is unseen


def test_hip_and_knee_of_the_plots_follow_what_is_told():
    track, attempt, scene = held(bodies.shoulder_stand(hip=160.0), 0.0)
    words = {(side, "hip_to_ankle"): 160.0 + LITTLE for side in (Side.LEFT, Side.RIGHT)} | {(scene.near, "knee"): 180.0 - LITTLE}
    plain, told_so = (
        {c.detail: c for c in measure_attempt(seen, attempt, learnt={})[1]} for seen in (track, looked(track, attempt, words))
    )
    held_now = (plain["hip_angle"].t >= attempt.key_start_s) & (plain["hip_angle"].t <= attempt.key_end_s)
    for detail, sign in (("hip_angle", 1), ("knee_angle", -1)):
        by = told_so[detail].value - plain[detail].value
        assert np.median(by[held_now]) == pytest.approx(sign * SHARE * LITTLE, abs=1.0)
        assert by[0] == by[-1] == 0


def test_joints_that_nobody_looked_at_from_near_by_or_in_another_hold_stay_as_they_are():
    track, attempt, _ = held(bodies.shoulder_stand(hip=160.0), 0.0)
    plain = read(track, attempt)
    assert moved(plain, read(track, attempt, {})) == {}
    words = np.full(COUNT, plain["hip_angle"].value + LITTLE)
    look = HoldLook(attempt.key_start_s, attempt.key_end_s + 0.1, np.full((2, FEATURES), np.nan), words)
    another = replace(track, looks=(look,))
    assert np.isnan(make_scene(another, attempt).told).all() and moved(plain, read(another, attempt)) == {}
    mine = replace(track, looks=(replace(look, start=9.0), replace(look, end=attempt.key_end_s)))
    assert make_scene(mine, attempt).told.tolist() == words.tolist() and set(moved(plain, read(mine, attempt))) == {
        "hip_angle",
        "hip_knee_angle",
    }


def test_a_word_is_that_of_its_side_and_only_hips_are_turned_round_for_who_faces_left():
    track, attempt, _ = held(bodies.shoulder_stand(), 0.0)
    words = np.arange(10.0, 90.0, 10.0)
    look = HoldLook(attempt.key_start_s, attempt.key_end_s, np.zeros((2, FEATURES)), words)
    seen = replace(track, looks=(look,))
    right, left = (make_scene(seen, replace(attempt, direction=way)) for way in (1, -1))
    assert [told(right, Side.LEFT, a) for a in ANGLES] == [10, 20, 30, 40] and [told(right, Side.RIGHT, a) for a in ANGLES] == [
        50,
        60,
        70,
        80,
    ]
    assert [told(left, Side.LEFT, a) for a in ANGLES] == [350, 340, 30, 40] and [told(left, Side.RIGHT, a) for a in ANGLES] == [
        310,
        300,
        70,
        80,
    ]
    assert HIPS == (0, 1, 4, 5) and look.angles.tolist() == words.tolist(), "what was kept is not written over"
