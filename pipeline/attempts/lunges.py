"""Lunges: feet far apart one before the other, the front knee bent or the arms up, held still."""

from __future__ import annotations

import numpy as np

from pipeline.attempts.candidate import Candidate, margin
from pipeline.attempts.facing import facing
from pipeline.attempts.rest import lowest_part, span, still_speed
from pipeline.attempts.signals import Signals, pair_mean, runs
from pipeline.vocabulary import Side, Skill

APART = 1.0  # trunks between the ankles along the floor, at least
HOLD_S = 0.4
HOLD_STILL = 0.30  # trunks a second
FRONT_BENT = 165.0  # degrees; the front knee is bent more than this in a lunge
TRUNK_UP = -0.35  # cosine of the trunk's tilt: a badly piked lunge folds to level and below
ARMS_UP = (
    0.0  # trunks of the wrists beyond the shoulders: a stride with the arms up is meant as a lunge, though the front knee stays straight
)
FEET_TOGETHER = 0.75  # trunks; nearer than this at some moment, or the legs followed are somebody else's
FEET_DOWN = 0.45  # trunks; the back heel is lifted, its toes are not
FROM_THE_SIDE = 0.42  # trunks the hips may appear wide: a straddle seen from the front is no lunge


def lunge_candidates(s: Signals) -> list[Candidate]:
    """Every still lunge, in time order."""
    stance = _stance(s)
    with np.errstate(invalid="ignore"):
        held = stance & (s.speed < max(HOLD_STILL, 1.2 * still_speed(s)))
    return [_candidate(s, a, b) for a, b in _join(runs(held), s) if s.t[b] - s.t[a] >= 0.7 * HOLD_S]


def _stance(s: Signals) -> np.ndarray:
    """(n,) bool: feet far apart on the floor, trunk up, seen from the side; still or not."""
    ankle = s.p("ankle")[..., 0]
    feet = lowest_part(s, ("heel", "foot_index"))
    with np.errstate(invalid="ignore"):
        return (
            (np.abs(ankle[:, 0] - ankle[:, 1]) > APART)
            & (np.max(feet, axis=1) < FEET_DOWN)
            & (np.cos(np.radians(s.trunk_turn)) > TRUNK_UP)
            & (_width(s) < FROM_THE_SIDE)
        )


def _width(s: Signals) -> np.ndarray:
    """(n,) how wide the hips appear, trunks."""
    hip = s.p("hip")
    return np.linalg.norm(hip[:, 0] - hip[:, 1], axis=-1)


def _join(held: list[tuple[int, int]], s: Signals) -> list[tuple[int, int]]:
    """Holds parted only by a wobble, the feet staying apart, are one."""
    joined: list[tuple[int, int]] = []
    ankle = s.p("ankle")[..., 0]
    wide = np.abs(ankle[:, 0] - ankle[:, 1])
    for a, b in held:
        if joined and s.t[a] - s.t[joined[-1][1]] < 0.6 and np.nanmin(wide[joined[-1][1] : a + 1]) > 0.85 * APART:
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    return joined


def _closest(s: Signals, start_s: float, end_s: float) -> float:
    """How near the feet come to each other around a lunge, trunks along the floor: one steps into it or out of it."""
    wide = np.abs(s.p("ankle")[:, 0, 0] - s.p("ankle")[:, 1, 0])[s.between(start_s - 0.3, end_s + 0.3)]
    wide = wide[np.isfinite(wide)]
    return float(np.quantile(wide, 0.03)) if len(wide) else float("nan")


def _arms_raised(s: Signals) -> np.ndarray:
    """(n,) how far the wrists lie beyond the shoulders along the trunk, trunks; negative while the arms hang."""
    shoulder = pair_mean(s.p("shoulder"))
    trunk = shoulder - pair_mean(s.p("hip"))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.sum((pair_mean(s.p("wrist")) - shoulder) * trunk, axis=-1) / np.linalg.norm(trunk, axis=-1)


def _candidate(s: Signals, a: int, b: int) -> Candidate:
    start_s, end_s = span_around(s, a, b)
    hold = slice(a, b + 1)
    ankle = np.nanmedian(s.p("ankle")[hold, :, 0], axis=0)
    knee = np.nanmedian(s.knee[hold], axis=0)
    direction, clear = facing(s.xy[s.between(start_s, end_s)])
    front = int(direction * ankle[1] > direction * ankle[0])
    arms = float(np.nanmedian(_arms_raised(s)[hold]))
    stepped = max(margin(_closest(s, start_s, end_s), FEET_TOGETHER, -0.1), 0.2)
    fit = min(
        stepped,
        margin(abs(ankle[0] - ankle[1]), APART, 0.2), margin(s.t[b] - s.t[a], HOLD_S - 0.07, 0.07), max(margin(knee[front], FRONT_BENT, -8), margin(arms, ARMS_UP, 0.2)),
        margin(clear, 0.6, 0.1),
    )  # fmt: skip
    lead = Side.LEFT if front == 0 else Side.RIGHT
    return Candidate(Skill.LUNGE, start_s, end_s, s.t[a], s.t[b], direction, lead, fit)


def span_around(s: Signals, a: int, b: int) -> tuple[float, float]:
    """(start, end) seconds: out of the hold through the step in and the step back, to the rests beyond."""
    wide = np.abs(s.p("ankle")[:, 0, 0] - s.p("ankle")[:, 1, 0])
    with np.errstate(invalid="ignore"):
        apart = wide > 0.6 * np.nanmedian(wide[a : b + 1])
    first, last = a, b
    while first > 0 and (apart[first - 1] or not np.isfinite(wide[first - 1])):
        first -= 1
    while last < len(s.t) - 1 and (apart[last + 1] or not np.isfinite(wide[last + 1])):
        last += 1
    return span(s, first, last)
