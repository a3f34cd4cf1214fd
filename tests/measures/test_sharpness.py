"""Sharp and soft: top speed, time to it and smoothness of the arms' lift, on lifts whose closed form is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.landmarks.track import INDEX
from pipeline.measures.measure import measure_attempt
from pipeline.measures.reading import Reading
from pipeline.measures.sharpness import ARM_SD, KEPT, half_width, lift_of, speed_of
from pipeline.vocabulary import Setting, Side, Skill
from tests.measures.bodies import STAND, Motion, film
from tests.measures.stick import on_floor, skeleton
from tests.measures.told import NO_MODEL_ERROR, read, stood


def lifting(seconds: float, fps: float) -> tuple[Motion, float]:
    """Stand, lift straight arms through 170 degrees in a movement of least jerk (Flash and Hogan 1985), keep them; (motion, radians)."""
    t = np.arange(0, 2.5 + seconds, 1 / fps)
    s = np.clip((t - 1.0) / seconds, 0, 1)
    s = 10 * s**3 - 15 * s**4 + 6 * s**5
    frames = [skeleton(replace(STAND, left_arm=170 * v, right_arm=170 * v)) for v in s]
    return Motion(t, on_floor(np.stack(frames))), np.radians(170.0)


# fps, seconds, share of the peak that must be found. From 0.5 s on any phone does; a lift of 0.3 s loses some of its peak.
@pytest.mark.parametrize(("fps", "seconds", "within"), [
    (24, 1.2, 0.03), (24, 0.5, 0.10), (30, 1.2, 0.03), (30, 0.5, 0.08), (30, 0.3, 0.20), (60, 0.5, 0.06), (60, 0.3, 0.15),
])  # fmt: skip
def test_a_lift_of_least_jerk_has_its_closed_form(fps: float, seconds: float, within: float) -> None:
    """Peak 1.875 / T times the angle; 5 % of it is passed at 0.0594 T, so the time to it is 0.4406 T."""
    motion, turned = lifting(seconds, fps)
    got = read(
        film(motion), Skill.LUNGE, end_s=2.0 + seconds, key_start_s=1.1 + seconds, key_end_s=2.0 + seconds, hold_start_s=1.1 + seconds
    )
    assert got["arm_peak_speed"].value == pytest.approx(1.875 * turned / seconds, rel=within)
    assert got["arm_time_to_peak"].value == pytest.approx(0.4406 * seconds, abs=0.06)
    assert got["arm_smoothness"].value == pytest.approx(-1.41, abs=0.12)


def test_a_faster_lift_is_known_less_in_arms_a_second_and_as_well_in_proportion() -> None:
    """The arm's length is known to a tenth, so that two lifts alike but for their speed have doubts in the ratio of their peaks, where
    nothing else is in doubt."""
    halves = {}
    for seconds in (0.6, 1.2):
        motion, turned = lifting(seconds, 60)
        end, hold = 2.0 + seconds, 1.1 + seconds
        attempt = Attempt(Skill.LUNGE, 1, 0.0, end, hold, end, 1, Side.LEFT, Setting.ALONE, 1.0, moments={"hold_start_s": hold})
        found = measure_attempt(film(motion), attempt, table=NO_MODEL_ERROR)[0]
        speed = next(r for r in found if r.detail == "arm_peak_speed")
        halves[seconds] = (speed.high - speed.low) / 2 / (1.875 * turned / seconds)
    assert halves[0.6] == pytest.approx(1.96 * ARM_SD, rel=0.15) and halves[1.2] == pytest.approx(1.96 * ARM_SD, rel=0.15)


@pytest.mark.parametrize("frames", [2, 8])
def test_an_arm_that_landmarks_left_for_the_body_is_no_fast_arm(frames: int) -> None:
    """For a moment, in a soft lift: the closed form still comes out. For a quarter of a second: nothing is said."""
    motion, turned = lifting(1.2, 30)
    track = film(motion)
    xy = track.xy.copy()
    i = np.searchsorted(track.t, 1.6) + np.arange(frames)
    shoulder = xy[i][:, [INDEX["right_shoulder"]]]
    arm = [INDEX[f"right_{part}"] for part in ("elbow", "wrist")]
    xy[np.ix_(i, arm)] = shoulder + 0.3 * (xy[np.ix_(i, arm)] - shoulder)
    got = read(replace(track, xy=xy), Skill.LUNGE, end_s=3.2, key_start_s=2.3, key_end_s=3.2, hold_start_s=2.3)["arm_peak_speed"]
    if frames == 2:
        assert got.value == pytest.approx(1.875 * turned / 1.2, rel=0.08)
    else:
        assert np.isnan(got.value) and "lost" in got.reason


@pytest.mark.parametrize("fps", [24, 30, 60])
@pytest.mark.parametrize("seconds", [0.2, 0.3, 0.45, 0.9])
def test_what_the_low_pass_takes_from_a_peak_is_known(fps: int, seconds: float) -> None:
    """Closed form: a movement of least jerk through one radian peaks at 1.875 / T; filmed at several phases, on the mean."""
    shares = []
    for phase in np.linspace(0, 1, 5)[:-1]:
        t = (np.arange(0, (seconds + 1.6) * fps) + phase) / fps
        s = np.clip((t - 0.8) / seconds, 0, 1)
        a = 10 * s**3 - 15 * s**4 + 6 * s**5
        clock, speed = speed_of(t, np.stack([np.sin(a), -np.cos(a)], axis=1))
        kept = np.interp(half_width(clock, speed, int(np.argmax(speed))), *KEPT)
        shares.append(speed.max() / kept * seconds / 1.875)
    assert np.mean(shares) == pytest.approx(1.0, abs=0.05)


def test_sharp_and_soft_are_told_apart_through_jitter() -> None:
    def lift(seconds: float) -> dict[str, Reading]:
        motion, _ = lifting(seconds, 30.0)
        track = film(motion, noise=1.5, rng=np.random.default_rng(2))
        return read(track, Skill.LUNGE, end_s=2.0 + seconds, key_start_s=1.1 + seconds, key_end_s=2.0 + seconds, hold_start_s=1.1 + seconds)

    sharp, soft = lift(0.4), lift(1.2)
    assert sharp["arm_peak_speed"].low > soft["arm_peak_speed"].high
    assert sharp["arm_time_to_peak"].high < soft["arm_time_to_peak"].high


def test_arms_that_are_up_from_the_start_were_not_seen_lifting() -> None:
    up = stood(3.0, pose=replace(STAND, left_arm=170.0, right_arm=170.0))
    got = read(film(up), Skill.LUNGE, key_start_s=1.0, hold_start_s=1.0)
    assert all(
        np.isnan(got[d].value) and "hanging to overhead" in got[d].reason for d in ("arm_peak_speed", "arm_time_to_peak", "arm_smoothness")
    )


def test_uneven_frames_give_the_same_speed_as_even_ones() -> None:
    rng = np.random.default_rng(7)
    even = np.arange(0, 2, 1 / 30)
    wandering = np.sort(even + rng.uniform(-0.012, 0.012, len(even)))

    def path_at(t: np.ndarray) -> np.ndarray:
        s = np.clip((t - 0.6) / 0.8, 0, 1)
        a = np.pi * (10 * s**3 - 15 * s**4 + 6 * s**5)
        return np.stack([np.sin(a), np.cos(a)], axis=1)

    lifts = [lift_of(*speed_of(t, path_at(t)), (0.5, 1.5)) for t in (even, wandering)]
    assert lifts[1].peak == pytest.approx(lifts[0].peak, rel=0.02) and lifts[1].smooth == pytest.approx(lifts[0].smooth, abs=0.05)
