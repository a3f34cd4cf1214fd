"""The stance of a lunge: feet far apart on the floor, seen from the side, whichever of the legs the landmarks took for the other."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from pipeline.attempts.once import once
from pipeline.attempts.rest import hip_height, hip_width, lowest_part, still_speed
from pipeline.attempts.signals import RATE, SIDES, Signals, runs, shape_speed, smooth, velocity
from pipeline.attempts.stepping import step_speed
from pipeline.landmarks.track import INDEX

APART, APART_SQUARE = 1.0, 0.88  # trunks between the ankles along the floor, at least; and where she is seen square from the side
HOLD_STILL = 0.30  # trunks a second
TRUNK_UP = -0.35  # cosine of the trunk's tilt: a badly piked lunge folds to level and below
FEET_DOWN = 0.45  # trunks; the back heel is lifted, its toes are not
SLOPES = 0.12  # trunks a trunk between the feet: a floor seen from above and off square slopes in the picture, by up to seven degrees more
FROM_THE_SIDE, SQUARE = 0.42, 0.25  # trunks the hips may appear wide: a straddle seen from the front is no lunge
LEAPS, LEAP_REACH = 6.0, 5  # trunks a second of one foot against the other, and samples around it that it spoils
CALM_TURN, CALM_RISE = 25.0, 0.5  # degrees and trunks a second of a trunk that stays
STAYS_TURN, STAYS_RISE = 6.0, 0.1  # degrees and trunks in all: nobody brings her feet together, or apart, and moves her trunk no more
MIXED_UP_S = 1.2  # that landmarks may take one leg for the other
BODY = [INDEX[f"{side}_{part}"] for part in ("shoulder", "hip", "knee", "ankle") for side in SIDES]
LEGS = 4  # of BODY, the last ones
SPOILT = 1  # samples to either side that are between the two legs
CLOSED = 0.3  # of the feet's distance just before and after, by which they seem nearer at least
ON_THE_WAY = 0.9  # of that distance: one leg is between its own place and the other's
UNMOVED = 0.25  # of how much nearer they seem: of feet brought under the hips each does half of the way
FASTEST_STEP = 8.0  # trunks a second of one foot against the other from sample to sample; drawn steps under a still trunk go up to 5.7


@once
def apart(s: Signals) -> np.ndarray:
    """(n,) trunks between the ankles along the floor; while one leg was taken for the other, between what was before and after."""
    wide, bridge = _seen_apart(s), one_leg_twice(s)
    known = np.flatnonzero(~bridge & np.isfinite(wide))
    return np.where(bridge, np.interp(np.arange(len(wide)), known, wide[known]), wide) if bridge.any() else wide


@once
def apart_enough(s: Signals) -> np.ndarray:
    """(n,) trunks from which on feet are apart as in a lunge."""
    return np.where(hip_width(s) < SQUARE, APART_SQUARE, APART)


@once
def stance(s: Signals) -> np.ndarray:
    """(n,) bool: feet far apart on the floor, trunk up, seen from the side; still or not."""
    return _seen_stance(s) | one_leg_twice(s)


@once
def held(s: Signals) -> np.ndarray:
    """(n,) bool: a stance held still."""
    with np.errstate(invalid="ignore"):
        return (stance(s) & still(s)) | _mixed_up(s) | _still_on_one_leg(s)


def still(s: Signals) -> np.ndarray:
    """(n,) bool: trunk and legs as still as in a hold."""
    with np.errstate(invalid="ignore"):
        return s.speed < stillness(s)


def stillness(s: Signals) -> float:
    """The speed below which a lunge is held, trunks a second."""
    return max(HOLD_STILL, 1.2 * still_speed(s))


def trunk_stays(s: Signals, a: int, b: int) -> bool:
    """Whether trunk and hips keep their place between two samples."""
    turn, high = s.trunk_turn[a : b + 1], hip_height(s)[a : b + 1]
    turn, high = turn[np.isfinite(turn)], high[np.isfinite(high)]
    return bool(len(turn) and len(high) and np.ptp(turn) < STAYS_TURN and np.ptp(high) < STAYS_RISE)


def _seen_apart(s: Signals) -> np.ndarray:
    ankle = s.p("ankle")[..., 0]
    return np.abs(ankle[:, 0] - ankle[:, 1])


@once
def _seen_stance(s: Signals) -> np.ndarray:
    """(n,) bool: a stance as the landmarks have it."""
    wide = _seen_apart(s)
    feet = lowest_part(s, ("heel", "foot_index"))
    with np.errstate(invalid="ignore"):
        return (
            (wide > apart_enough(s) * s.scale)
            & (np.max(feet, axis=1) < FEET_DOWN + SLOPES * wide)
            & (np.cos(np.radians(s.trunk_turn)) > TRUNK_UP)
            & (hip_width(s) < FROM_THE_SIDE)
        )


@once
def one_leg_twice(s: Signals) -> np.ndarray:
    """(n,) bool: moments within a stance at which both legs were seen in the place of one.

    The feet seem to come together and part again, though the trunk stays and the same foot is in front before and after. Feet that do
    so are brought under the hips, and no faster than a foot steps. Legs taken for each other leap, or one of them stays as it was.
    """
    out = np.zeros(len(s.t), dtype=bool)
    legs = s.p("ankle") - s.p("hip").mean(axis=1, keepdims=True)
    ahead = legs[:, 0, 0] - legs[:, 1, 0]
    for (first, a), (b, last) in pairwise(runs(_seen_stance(s))):
        if s.t[b] - s.t[a] >= MIXED_UP_S or ahead[a] * ahead[b] < 0 or not np.isfinite(ahead[a : b + 1]).any():
            continue
        before, after = np.arange(max(first, a - LEAP_REACH), a + 1), np.arange(b, min(last, b + LEAP_REACH) + 1)
        wide, nearest = float(np.quantile(np.abs(ahead[[*before, *after]]), 0.75)), a + int(np.nanargmin(np.abs(ahead[a : b + 1])))
        closed = wide - abs(ahead[nearest])
        moved = np.linalg.norm(legs[nearest] - np.median(legs[[*before, *after]], axis=0), axis=-1)
        leapt = np.nanmax(np.abs(np.diff(ahead[before[0] : after[-1] + 1]))) > FASTEST_STEP / RATE
        stays = np.nanmax(s.trunk_turn[a : b + 1]) - np.nanmin(s.trunk_turn[a : b + 1]) < STAYS_TURN
        if closed > CLOSED * wide and stays and (np.min(moved) < UNMOVED * closed or (leapt and trunk_stays(s, a, b))):
            between = np.abs(ahead) < ON_THE_WAY * wide
            while a > before[0] and between[a]:
                a -= 1
            while b < after[-1] and between[b]:
                b += 1
            out[a + 1 : b] = True
    return out


def _mixed_up(s: Signals) -> np.ndarray:
    """(n,) bool: moments of a stance in which the feet leap though trunk and hips are still: left and right were mixed up."""
    speed = step_speed(s)
    turning, rising = (np.abs(velocity(v[:, None], s.t)[:, 0]) for v in (s.trunk_turn, hip_height(s)))
    with np.errstate(invalid="ignore"):
        leaps = (speed > LEAPS) & (turning < CALM_TURN) & (rising < CALM_RISE)
    reach = 2 * LEAP_REACH + 1
    near = smooth(leaps.astype(float), reach) > 0
    return near & (smooth(stance(s).astype(float), reach) > 0) & (turning < CALM_TURN)


def _still_on_one_leg(s: Signals) -> np.ndarray:
    """(n,) bool: moments of a stance at which one leg was taken for the other, or so near to them that only this made it seem to move."""
    once_seen = one_leg_twice(s)
    if not once_seen.any():
        return once_seen
    xy = s.xy[:, BODY] / s.unit
    xy[smooth(once_seen.astype(float), 2 * SPOILT + 1) > 0, -LEGS:] = np.nan
    speed = smooth(shape_speed(xy, s.t), 5)
    with np.errstate(invalid="ignore"):
        return stance(s) & ((speed < stillness(s)) | once_seen)
