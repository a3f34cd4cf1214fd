"""From a moment inside a skill out to where it began and ended: the nearest rest on either side."""

from __future__ import annotations

import numpy as np

from pipeline.attempts.once import once
from pipeline.attempts.signals import Signals, pair_mean, runs, smooth
from pipeline.landmarks.track import INDEX

STILL = 0.30  # trunks a second; standing children sway and landmarks jitter below this
DIP = 1.5  # times still: nearly a rest
HIPS_WIDE, FEET_LONG = 0.40, 0.38  # trunks the hips are wide seen from the front, and a foot is long seen from the side
TURNED = 0.42  # how far `heading` goes as she turns: a quarter turn 1 to 1.4, steps without a turn up to 0.3
ASTRIDE = 0.88  # trunks between the ankles along the floor, at least, with one foot before the other
ASKEW = (
    0.335  # trunks the hips may appear wide then: half way between lunges up to 30 degrees off square and feet apart seen from the front
)
REST_S = 0.12  # a rest lasts at least this
STANDING = 0.80  # hips at this share of their standing height, or higher
LEGS_UP, SURELY_LOW = 0.93, 0.6  # share of a leg's length; share of the standing height below which nobody stands
REACH_S = 5.5  # no skill begins or ends further than this from its middle; beginners wait before they dare
LONG_REST_S = 2.5  # a rest of this length, sitting or kneeling too, is where it begins or ends
LEFT_NEAR, LEFT_FAR = 0.15, 0.45  # trunks from the rest: above jitter, and plainly on the way
SOFTNESS = 0.55  # how much of that square law's lead is taken; bodies start less softly (fitted on computed movements)
GROWS = SOFTNESS * LEFT_NEAR**0.5 / (LEFT_FAR**0.5 - LEFT_NEAR**0.5)
LONGEST_LEAD_S = 0.25  # how far before LEFT_NEAR a soft start may lie
DEEP = 0.6  # trunks; hips that have sunk so far go down to a squat
SINK_WITHIN_S = 0.7  # standing before that is looked for no longer
SINK_SOFTER_S = 0.04  # knees that begin to bend lower the hips late (on followed clips 0.03, on computed ones 0.17)


@once
def hip_height(s: Signals) -> np.ndarray:
    """(n,) height of the middle of the hips, trunks as large as she appears there."""
    return pair_mean(s.h("hip")) / s.scale


@once
def hip_width(s: Signals) -> np.ndarray:
    """(n,) how wide the hips appear, trunks."""
    hip = s.p("hip")
    return np.linalg.norm(hip[:, 0] - hip[:, 1], axis=-1)


@once
def heading(s: Signals) -> np.ndarray:
    """(n, 2) which way she faces, as far as the picture tells: how long the feet appear to the right or left, as a share of a foot, and
    how wide the hips. A turn past edge on or past the camera leaves one of the two as it was, never both."""
    feet = pair_mean((s.p("foot_index") - s.p("heel"))[..., 0]) / s.scale
    return np.stack([smooth(feet / FEET_LONG, 3), smooth(hip_width(s) / HIPS_WIDE, 3)], axis=-1)


@once
def standing_height(s: Signals) -> float:
    """Hips' height when standing: the highest they get with the trunk upright (a high quantile), trunks."""
    h = hip_height(s)
    upright = np.isfinite(h) & (np.cos(np.radians(s.trunk_turn)) > 0.8)
    return float(np.quantile(h[upright], 0.9)) if upright.sum() > 3 else 1.6


@once
def standing(s: Signals) -> np.ndarray:
    """(n,) bool: trunk upright and hips high over the floor, or high over a foot for legs as long as they look at this moment: as she
    comes nearer or the floor is lost, the second still holds."""
    with np.errstate(invalid="ignore"):
        high = hip_height(s) > STANDING * standing_height(s)
        high |= (legs_upright(s) > LEGS_UP) & (hip_height(s) > SURELY_LOW * standing_height(s))
        return (np.cos(np.radians(s.trunk_turn)) > 0.8) & high


@once
def astride(s: Signals) -> np.ndarray:
    """(n,) bool: one foot far before the other, seen from the side."""
    ankle = s.p("ankle")[..., 0]
    with np.errstate(invalid="ignore"):
        return (np.abs(ankle[:, 0] - ankle[:, 1]) > ASTRIDE * s.scale) & (hip_width(s) < ASKEW)


def legs_upright(s: Signals) -> np.ndarray:
    """(n,) how high the hip is over the ankle, as a share of thigh and shank as they look in this frame, of the straighter leg."""
    hip, knee, ankle = s.p("hip"), s.p("knee"), s.p("ankle")
    long = np.linalg.norm(hip - knee, axis=-1) + np.linalg.norm(knee - ankle, axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        up = (ankle[..., 1] - hip[..., 1]) / long
    return np.fmax(up[:, 0], up[:, 1])


def span(s: Signals, first: int, last: int, *, floor: int = 0, ceiling: int | None = None) -> tuple[float, float]:
    """(start, end) seconds of the movement around the samples first..last.

    Each end is looked for at the nearest still stand, else at any rest, and then placed where the body begins to leave that rest
    (or has come back to it). floor, ceiling: samples not to go beyond (a neighbouring skill).
    """
    ceiling = len(s.t) - 1 if ceiling is None else ceiling
    floor = max([floor, *(int(c) for c in s.cuts if c <= first)])
    ceiling = min([ceiling, *(int(c) - 1 for c in s.cuts if c > last)])
    return _edge(s, first, floor, -1), _edge(s, last, ceiling, +1)


def _edge(s: Signals, inner: int, limit: int, step: int) -> float:
    rough = _outward(s, inner, limit, step)
    return _departure(s, rough, inner, limit, step)


@once
def still_speed(s: Signals) -> float:
    """What counts as still in this clip, trunks a second: more where the landmarks jitter more."""
    stood = s.steady[standing(s) & np.isfinite(s.steady)]
    return float(np.clip(1.5 * np.quantile(stood, 0.2), STILL, 2.5 * STILL)) if len(stood) > 5 else STILL


def _outward(s: Signals, here: int, limit: int, step: int) -> int:
    """The sample of the nearest rest going out from `here`."""
    rate = 1 / (s.t[1] - s.t[0])
    far = max(limit, here - int(REACH_S * rate)) if step < 0 else min(limit, here + int(REACH_S * rate))
    index = np.arange(here, far + step, step)
    with np.errstate(invalid="ignore"):
        still = s.steady[index] < still_speed(s)
    index = index[: next((a + int(LONG_REST_S * rate) for a, b in runs(still) if b - a >= LONG_REST_S * rate), len(index))]
    if len(index) == 0:
        return here
    speed, stood, still = s.steady[index], standing(s)[index], still[: len(index)]
    need = max(2, round(REST_S * rate))
    first = stood & ~astride(s)[index] if step < 0 else stood  # a pause in the lunge that leads in is not where the skill begins
    for mask in (still & first, still & stood, still & (np.cos(np.radians(s.trunk_turn[index])) > 0.5), still):
        for a, b in runs(mask):
            if b - a + 1 >= need or b == len(index) - 1:
                turned_on = _dip_before_turning(speed[: a + 1], stood, heading(s)[index], still_speed(s)) if step > 0 else None
                return int(index[a if turned_on is None else turned_on])
    candidates = np.flatnonzero(stood & np.isfinite(speed))
    if len(candidates):
        return int(index[candidates[np.argmin(speed[candidates])]])
    known = np.flatnonzero(np.isfinite(speed))
    return int(index[known[-1]]) if len(known) else here


def _dip_before_turning(speed: np.ndarray, stood: np.ndarray, faced: np.ndarray, still: float) -> int | None:
    """Where she was almost still, standing, before she turned on the spot on the way to the rest that `speed` ends in; None if she
    did not turn.

    A child who lands, closes her feet and turns on at once never quite rests: the dip between is where the skill ends, the turn
    belongs to what comes next. Steps without a turn are the skill's own, wanted or not. faced (n, 2): `heading`.
    """
    rest = len(speed) - 1
    dips = [
        i for i in range(1, rest)
        if stood[i] and speed[i] < DIP * still and speed[i - 1] >= speed[i] <= np.nanmin(speed[i + 1 : i + 5])
    ]  # fmt: skip
    away = lambda i, part: np.linalg.norm(faced[part] - faced[i], axis=-1)  # noqa: E731
    before = [i for i in dips if away(dips[0], i) < TURNED / 2 and np.nanmax(away(i, slice(i, rest + 1)), initial=0.0) > TURNED]
    return before[-1] if before else None


def _posture(s: Signals) -> np.ndarray:
    """(n, 6) hips and shoulders over the middle of the feet, and the feet apart: what standing still leaves unchanged, trunks."""
    ankle = s.p("ankle")
    feet = ankle.mean(axis=1)
    hips, shoulders = s.p("hip").mean(axis=1) - feet, s.p("shoulder").mean(axis=1) - feet
    return np.concatenate([hips, shoulders, ankle[:, 1] - ankle[:, 0]], axis=1)


def _departure(s: Signals, rough: int, inner: int, limit: int, step: int) -> float:
    """When the posture leaves the rest found at `rough`, going towards `inner`.

    Movements start softly: the distance from rest grows with the square of time, so the start is found from when it passes two
    distances well above jitter, not from the first twitch.
    """
    posture = _posture(s)
    rate = 1 / (s.t[1] - s.t[0])
    out = rough + step * int(0.3 * rate)
    rest_at = np.arange(rough, min(max(out, min(limit, rough)), max(limit, rough)) + step, step)
    rest_at = rest_at[(rest_at >= 0) & (rest_at < len(s.t))]
    known = posture[rest_at][np.isfinite(posture[rest_at]).all(axis=1)]
    if len(known) == 0:
        return float(s.t[rough])
    gap = posture - np.median(known, axis=0)
    away = np.maximum(
        np.linalg.norm(gap[:, :2], axis=1), np.maximum(np.linalg.norm(gap[:, 2:4], axis=1), np.linalg.norm(gap[:, 4:], axis=1))
    )
    far = _first_above(s.t, away, rest_at[-1], inner, -step, LEFT_FAR, None)
    if far is None:
        return float(s.t[rough])
    near = _first_above(s.t, away, far[1], rest_at[-1], step, LEFT_NEAR, "below")
    if near is None:
        return float(s.t[rough])
    back = min(abs(far[0] - near[0]) * GROWS, LONGEST_LEAD_S)
    return float(np.clip(near[0] + step * back, s.t[0], s.t[-1]))


def hips_sink(s: Signals, start: float, end: float) -> float:
    """When the hips of one who stands begin to sink to a squat or seat, between two times, seconds; NaN where they do not.

    Found, as a departure is, from when they have sunk by two distances well above jitter; what the feet do before does not count.
    """
    high = hip_height(s)
    index = np.flatnonzero(s.between(start - 0.1, end) & np.isfinite(high))
    if len(index) < 5:
        return float("nan")
    v, t = high[index], s.t[index]
    top = float(np.max(v[t < start + SINK_WITHIN_S]))
    deep = np.flatnonzero(v < top - DEEP)
    if len(deep) == 0 or top < STANDING * standing_height(s):
        return float("nan")
    before = np.flatnonzero((t >= t[deep[0]] - SINK_WITHIN_S) & (np.arange(len(v)) <= deep[0]))
    drop = np.max(v[before]) - v
    near, far = (float(t[np.flatnonzero((drop < level) & (np.arange(len(v)) <= deep[0]))[-1]]) for level in (LEFT_NEAR, LEFT_FAR))
    return max(near - min((far - near) * GROWS, LONGEST_LEAD_S) - SINK_SOFTER_S, start)


def _first_above(t: np.ndarray, v: np.ndarray, start: int, end: int, step: int, level: float, kind: str | None) -> tuple[float, int] | None:
    """(time, sample) at which v first passes `level` going from start to end; kind "below" asks where it has fallen under it."""
    previous = None
    for i in range(start, end + step, step):
        if not np.isfinite(v[i]):
            continue
        passed = v[i] < level if kind == "below" else v[i] > level
        if passed:
            if previous is None or v[previous] == v[i]:
                return float(t[i]), i
            share = (level - v[previous]) / (v[i] - v[previous])
            return float(t[previous] + share * (t[i] - t[previous])), i
        previous = i
    return None


def lowest_part(s: Signals, parts: tuple[str, ...]) -> np.ndarray:
    """(n, 2) height of the lowest of some parts, left and right; NaN where none was seen."""
    stack = np.stack([s.height[:, [INDEX[f"{side}_{part}"] for side in ("left", "right")]] for part in parts])
    out = np.full(stack.shape[1:], np.nan)
    some = np.isfinite(stack).any(axis=0)
    out[some] = np.nanmin(stack[:, some], axis=0)
    return out
