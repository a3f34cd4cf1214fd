"""What happens when inside one attempt: hands and feet coming down, hips leaving the floor, standing. See `attempt.MOMENTS`."""

from __future__ import annotations

import numpy as np

from pipeline.attempts.arms import lifts
from pipeline.attempts.candidate import Candidate
from pipeline.attempts.rest import hip_height, lowest_part, standing, standing_height
from pipeline.attempts.signals import Signals, runs
from pipeline.vocabulary import Skill

TOUCH = 0.22  # trunks above its resting height at which a falling hand or foot is as good as down: it falls ten trunks a second
LANDED = 0.16  # the same for a foot that comes down to stand, slower at the end
TOO_HIGH = 0.6  # trunks; a hand or foot that never comes lower than this was not put down
OFF_FLOOR = 0.2  # trunks the hips have risen when they have left the floor
TOGETHER = 0.6  # trunks between the ankles in the picture when the feet are closed
CLOSED_S = 0.1
STOOD = 0.93  # share of the standing height at which she stands
ARMS_BEFORE_S = 2.5  # a lunge's arms may come up this long before the step
HANDS = ("wrist", "index")
FEET = ("heel", "foot_index")


def moments(s: Signals, c: Candidate) -> dict[str, float]:
    """The moments of an attempt that were seen, seconds; names as in `attempt.MOMENTS[c.skill]`."""
    find = {
        Skill.LUNGE: _lunge, Skill.LOADED_LUNGE: _lunge, Skill.CARTWHEEL: _cartwheel, Skill.BACKWARD_ROLL: _backward_roll,
        Skill.SHOULDER_STAND: _shoulder_stand,
    }[c.skill]  # fmt: skip
    return {name: float(at) for name, at in find(s, c).items() if np.isfinite(at)}


def came_down(s: Signals, height: np.ndarray, start: float, end: float, *, after: float | None = None) -> float:
    """When something comes down between two times, seconds: the last time that its height (n,) falls through its level on the floor
    before it is lowest. after: it is up then, and the first fall from there is wanted instead. NaN where it was not seen to fall."""
    index = np.flatnonzero(s.between(start, end) & np.isfinite(height))
    if len(index) < 3:
        return float("nan")
    v, t = height[index], s.t[index]
    if after is None:
        lowest = int(np.argmin(v))
        level = float(np.quantile(v, 0.15)) + TOUCH
        falls = [i for i in range(1, lowest + 1) if v[i - 1] >= level > v[i]][-1:]
    else:
        late = t >= after
        if late.sum() < 2:
            return float("nan")
        level = float(np.quantile(v[late], 0.15)) + LANDED
        falls = [i for i in range(1, len(v)) if t[i] > after and v[i - 1] >= level > v[i]][:1]
    if not falls or level - TOUCH > TOO_HIGH:
        return float("nan")
    i = falls[0]
    return float(t[i] - (level - v[i]) / (v[i - 1] - v[i]) * (t[i] - t[i - 1]))


def _lunge(s: Signals, c: Candidate) -> dict[str, float]:
    before = [lift for lift in lifts(s, c.start_s - ARMS_BEFORE_S, c.key_end_s) if lift.start_s < c.key_start_s]
    out = {"hold_start_s": c.key_start_s, "hold_end_s": c.key_end_s}
    return {"arms_start_s": before[-1].start_s, **out} if before else out


def _cartwheel(s: Signals, c: Candidate) -> dict[str, float]:
    hands, feet = lowest_part(s, HANDS), lowest_part(s, FEET)
    middle = 0.5 * (c.key_start_s + c.key_end_s)
    down = [came_down(s, hands[:, i], max(c.start_s, c.key_start_s - 0.7), c.key_end_s) for i in (0, 1)]
    landed = []
    for i in (0, 1):
        up = np.flatnonzero(s.between(c.key_start_s, c.key_end_s + 0.2) & np.isfinite(feet[:, i]))
        top = float(s.t[up[np.argmax(feet[up, i])]]) if len(up) else middle
        landed.append(came_down(s, feet[:, i], middle, c.end_s, after=top))
    out = dict(zip(("hand1_s", "hand2_s"), sorted(down), strict=True)) if np.isfinite(down).all() else {"hand1_s": c.key_start_s}
    if np.isfinite(landed).all():
        out |= dict(zip(("foot1_s", "foot2_s"), sorted(landed), strict=True))
        out["together_s"] = _together(s, out["foot2_s"], c.end_s)
    else:
        out["foot1_s"] = c.key_end_s
    return {**out, "standing_s": c.end_s}


def _together(s: Signals, start: float, end: float) -> float:
    """When the feet are first closed, both on the floor, after `start`; NaN where they stay apart."""
    apart = np.linalg.norm(s.p("ankle")[:, 0] - s.p("ankle")[:, 1], axis=-1)
    with np.errstate(invalid="ignore"):
        closed = (apart < TOGETHER) & (np.max(lowest_part(s, FEET), axis=1) < 2 * TOUCH) & s.between(start, end + 0.3)
    return next((float(s.t[a]) for a, b in runs(closed) if s.t[b] - s.t[a] >= CLOSED_S), float("nan"))


def _backward_roll(s: Signals, c: Candidate) -> dict[str, float]:
    hands, feet = _lowest(lowest_part(s, HANDS)), _lowest(lowest_part(s, FEET))
    return {
        "hands_s": came_down(s, hands, max(c.start_s, c.key_start_s - 1.0), c.key_start_s + 0.4),
        "over_s": c.key_start_s, "feet_s": came_down(s, feet, c.key_start_s - 0.2, c.end_s, after=c.key_start_s), "standing_s": c.end_s,
    }  # fmt: skip


def _shoulder_stand(s: Signals, c: Candidate) -> dict[str, float]:
    feet, hips = _lowest(lowest_part(s, FEET)), hip_height(s)
    out = {"lift_s": _left_floor(s, hips, c.start_s, c.key_start_s), "hold_start_s": c.key_start_s, "hold_end_s": c.key_end_s}
    out["feet_s"] = came_down(s, feet, c.key_end_s - 0.1, c.end_s, after=c.key_end_s)
    out["rise_s"] = _left_floor(s, hips, out["feet_s"] - 0.3 if np.isfinite(out["feet_s"]) else c.key_end_s, c.end_s)
    with np.errstate(invalid="ignore"):
        stands = standing(s) & (hips > STOOD * standing_height(s)) & s.between(out["rise_s"], c.end_s + 0.3)
    stood = np.flatnonzero(stands)
    if np.isfinite(out["rise_s"]) and len(stood):
        out["standing_s"] = float(s.t[stood[0]])
        out["finish_s"] = c.end_s
    return out


def _left_floor(s: Signals, hips: np.ndarray, start: float, end: float) -> float:
    """When the hips, sat on the floor between two times, last left it."""
    index = np.flatnonzero(s.between(start, end) & np.isfinite(hips))
    if len(index) < 3:
        return float("nan")
    lowest = float(np.quantile(hips[index], 0.05))
    low = np.flatnonzero(hips[index] < lowest + OFF_FLOOR)
    return float(s.t[index[low[-1]]]) if len(low) and low[-1] < len(index) - 1 else float("nan")


def _lowest(pair: np.ndarray) -> np.ndarray:
    """(n,) the lower of left and right, of what is there."""
    out = np.full(len(pair), np.nan)
    some = np.isfinite(pair).any(axis=1)
    out[some] = np.nanmin(pair[some], axis=1)
    return out
