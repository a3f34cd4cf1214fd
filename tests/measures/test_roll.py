"""The floor under a backward roll, found from what rests on it, and whether and how long a knee lies on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.find import find_attempts
from pipeline.landmarks.track import INDEX, Track
from pipeline.measures import roll_contact, roll_finish, roll_floor
from pipeline.measures.backward_roll import lower_knee, readings
from pipeline.measures.look import Look
from pipeline.measures.reading import Reading
from pipeline.measures.roll_contact import TOUCH_S, Model, Signs, seconds_on_floor, signs_of
from pipeline.measures.scene import make_scene
from pipeline.measures.uncertainty import error_table
from pipeline.vocabulary import Side
from tests.measures import bodies
from tests.measures.bodies import Motion, film
from tests.measures.stick import FLESH

SHARP = Model(base=3.0, low=-4.0, feet=-3.0, shoulders=1.5, seconds_sd=0.05, n=60)
T = np.arange(0.0, 3.0, 1 / 30)


def read(track: Track) -> tuple[Reading, Reading]:
    (attempt,) = find_attempts(track)
    clear, contact = readings(make_scene(track, attempt), {key: replace(k, bias=0.0) for key, k in error_table().items()})
    return clear, contact


def knees_low(motion: Motion) -> float:
    """Seconds that the built body's knees lie on the floor after the feet came over."""
    return float(((motion.joints[:, INDEX["left_knee"], 2] < FLESH["knee"] + 0.01) & (motion.t > 2.05)).sum()) / 30.0


@pytest.mark.parametrize("swing", [0.0, 15.0, -15.0], ids=["still", "down", "up"])
def test_a_phone_that_sways_during_the_roll_does_not_lift_the_knees(swing: float) -> None:
    motion = bodies.backward_roll(kneel=True)
    track = film(motion, turned=180.0)
    sway = swing * np.sin(2 * np.pi * (motion.t - 1.4) / 2.4) * (motion.t > 1.4)  # a fifth of a shank, to and fro in two seconds
    clear, contact = read(replace(track, xy=track.xy + np.stack([0 * sway, sway], axis=-1)[:, None]))
    assert clear.value < 8.0
    assert contact.low > 0.0, "knees that rest for so long are seen to, for sure"
    assert contact.low <= knees_low(motion) <= contact.high


@pytest.mark.parametrize("swing", [0.0, 15.0, -15.0])
def test_knees_well_off_the_floor_surely_did_not_touch(swing: float) -> None:
    motion = bodies.backward_roll()
    track = film(motion)
    sway = swing * np.sin(2 * np.pi * (motion.t - 1.4) / 2.4) * (motion.t > 1.4)
    _, contact = read(replace(track, xy=track.xy + np.stack([0 * sway, sway], axis=-1)[:, None]))
    assert contact.value == 0.0 and contact.high < 0.06


def test_hands_that_are_not_seen_leave_it_open_or_right() -> None:
    motion = bodies.backward_roll()
    track = film(motion)
    xy = track.xy.copy()
    xy[:, [INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("wrist", "index", "pinky", "thumb")]] = np.nan
    _, contact = read(replace(track, xy=xy))
    assert contact.low == 0.0


def test_the_level_follows_what_rests_and_passes_over_moments_in_which_nothing_seen_does() -> None:
    floor = 500 + 20 * np.sin(2 * np.pi * T / 2.0)
    seen = floor.copy()
    lost = (T > 1.0) & (T < 1.2)  # the hands are hidden, and what is seen hangs 40 pixels over the floor
    seen[lost] -= 40
    whole = ~lost
    found = roll_floor.level(T, seen, 100.0, 0.1, whole)
    inner = (T > 0.2) & (T < 2.8)
    assert np.abs(found - floor)[inner & ~lost].max() < 5.0
    assert np.abs(found - floor)[lost].max() < 12.0
    seen[::7] = np.nan
    assert np.abs(roll_floor.level(T, seen, 100.0, 0.1, whole) - floor)[inner & ~lost].max() < 6.0


def seen_from_above(motion: Motion, turned: float, steep: float) -> Track:
    """The body filmed by a phone that looks down by `steep` degrees: what is farther off appears higher in the picture."""
    track = film(motion, turned=turned)
    a = np.radians(turned)
    away = motion.joints[..., 0] * np.sin(a) + motion.joints[..., 1] * np.cos(a)
    return replace(track, xy=track.xy - np.stack([0 * away, 250.0 * np.sin(np.radians(steep)) * (away - away.mean())], axis=-1))


@pytest.mark.parametrize("turned", [20.0, -20.0, 160.0, 200.0])
@pytest.mark.parametrize("kneel", [True, False])
def test_the_floors_slope_in_the_picture_is_known_from_the_view(turned: float, kneel: bool) -> None:
    track = seen_from_above(bodies.backward_roll(kneel=kneel), turned, 12.0)
    (attempt,) = find_attempts(track)
    true = np.degrees(np.arctan(-np.tan(np.radians(turned)) * np.sin(np.radians(12.0))))
    assert roll_floor.expected_slope(make_scene(track, attempt)) == pytest.approx(true, abs=2.0)
    _, contact = read(track)
    assert (contact.value > 0.2) == kneel


def test_a_knee_folds_nearer_to_its_skin() -> None:
    straight, folded = roll_floor.knee_above(np.array([180.0, 30.0]))
    assert 0.04 < folded < 0.08 < straight < 0.25  # share of the shank; a kneecap's thickness and the shin's (drawn bodies)


def level_of(rest: float, depth: float, least: float = 0.0) -> np.ndarray:
    """Knees that come down from 60 % of the shank, lie `least` over the floor for `rest` seconds and rise again."""
    off = np.maximum(np.abs(T - 1.5) - rest / 2, 0.0)
    return least + np.minimum(depth * off, 60.0)


@pytest.mark.parametrize("rest", [0.12, 0.3, 0.8])
def test_signs_of_a_touch(rest: float) -> None:
    rising = 40.0 * T  # % of the shank; 60 where the knees are lowest
    signs = signs_of(T, level_of(rest, 400.0), np.full(len(T), -20.0), rising)
    assert signs is not None
    assert signs.shoulders == pytest.approx(40.0 * (signs.at_s + TOUCH_S / 2), abs=1.0), "while the knees are lowest"
    assert signs.low == pytest.approx(0.0, abs=3.0) and signs.feet == -20.0
    assert abs(signs.at_s - 1.45) <= rest / 2 + 0.05
    assert signs.seconds == pytest.approx(rest, abs=0.06)
    unseen = np.full(len(T), np.nan)
    assert signs_of(T, unseen, unseen, unseen) is None
    known = signs_of(T, level_of(rest, 400.0), unseen, unseen)
    assert known is not None and np.isnan(known.feet) and np.isnan(known.shoulders)


def test_only_next_to_sure_leaves_the_other_answer_out() -> None:
    lain = Signs(low=-2.0, feet=-20.0, seconds=0.5, at_s=1.0)
    value, low, high = seconds_on_floor(lain, SHARP, 1 / 30)
    assert SHARP.chance(lain) > roll_contact.SURE and value == 0.5 and low == pytest.approx(0.402) and high == pytest.approx(0.598)
    well_off = replace(lain, low=30.0, feet=20.0, seconds=0.0)
    assert seconds_on_floor(well_off, SHARP, 1 / 30) == (0.0, 0.0, pytest.approx(1 / 30))
    open_ = replace(lain, low=6.0, feet=0.0, seconds=0.3)
    value, low, high = seconds_on_floor(open_, SHARP, 1 / 30)
    assert 1 - roll_contact.SURE < SHARP.chance(open_) < roll_contact.SURE
    assert low == 0.0 and high > 0.3, "neither a touch nor none is left out"


def test_higher_knees_and_knees_over_the_feet_touch_less_likely() -> None:
    base = Signs(low=4.0, feet=0.0, seconds=0.2, at_s=1.0)
    assert SHARP.chance(replace(base, low=0.0)) > SHARP.chance(base) > SHARP.chance(replace(base, low=10.0))
    assert SHARP.chance(replace(base, feet=-8.0)) > SHARP.chance(base) > SHARP.chance(replace(base, feet=8.0))
    assert SHARP.chance(replace(base, feet=float("nan"))) == SHARP.chance(base)
    assert SHARP.chance(replace(base, shoulders=70.0)) > SHARP.chance(replace(base, shoulders=40.0)) == SHARP.chance(base)
    assert SHARP.chance(replace(base, shoulders=5.0)) < SHARP.chance(base), "knees beside the head need not carry"
    assert SHARP.chance(replace(base, shoulders=-20.0)) == SHARP.chance(replace(base, shoulders=10.0)), "lower than the mat says no more"
    high = replace(base, low=16.0)
    assert SHARP.chance(replace(high, feet=-8.0, shoulders=70.0)) == SHARP.chance(high), "of knees well off the floor they say nothing"


def test_knees_on_the_mat_beside_the_head_are_not_talked_away() -> None:
    """Who rolls with the knees on the floor beside her ears rests on them too: the shoulders' sign leaves it open at most."""
    model = Model(base=2.39, low=-3.3, feet=-2.72, shoulders=1.4, seconds_sd=0.085, n=198)  # as learnt from drawn rolls
    beside = Signs(low=-1.0, feet=-10.0, seconds=0.3, at_s=1.0, shoulders=5.0)
    assert model.chance(beside) > 0.5
    assert model.chance(replace(beside, feet=0.0)) > 1 - roll_contact.SURE


def test_how_far_the_shoulders_are_off_the_mat() -> None:
    motion = bodies.backward_roll()
    track = film(motion)
    (attempt,) = find_attempts(track)
    scene = make_scene(track, attempt)
    joint = {part: motion.joints[:, INDEX[f"left_{part}"]] for part in ("shoulder", "hip", "knee", "ankle")}
    trunk, shank = (np.linalg.norm(joint[a] - joint[b], axis=1).mean() for a, b in (("shoulder", "hip"), ("knee", "ankle")))
    skin = (roll_floor.ABOVE["shoulder"] + roll_floor.LIFTED["shoulder"]) * trunk
    true = np.interp(scene.t, motion.t, 100 * (joint["shoulder"][:, 2] - skin) / shank)  # the built body's floor is at 0
    rolls = scene.key & (scene.t > 2.1)  # from when the head and the hands are down
    assert true[rolls].min() < 60 < 280 < true[rolls].max()
    np.testing.assert_allclose(lower_knee(scene).shoulders[rolls], true[rolls], atol=12.0)


def test_the_committed_model_says_what_it_was_made_from() -> None:
    model = roll_contact.contact_model()
    assert model.low < 0 and model.feet < 0 and model.n >= 30 and 0.0 < model.seconds_sd < 0.3
    assert "python -m pipeline.bench knee-contact" in roll_contact.COEFFICIENTS.read_text(encoding="utf-8")


def test_sway_is_read_only_of_who_stands() -> None:
    track = film(bodies.backward_roll())
    (attempt,) = find_attempts(track)
    scene = make_scene(track, attempt)
    (stood,) = roll_finish.readings(Look(scene, track, attempt, Side.NONE), error_table())
    assert np.isfinite(stood.value)
    too_soon = replace(attempt, moments={**attempt.moments, "standing_s": 1.2})  # while she squats down and rolls
    (squats,) = roll_finish.readings(Look(scene, track, too_soon, Side.NONE), error_table())
    assert np.isnan(squats.value) and squats.reason == roll_finish.NOT_STOOD
