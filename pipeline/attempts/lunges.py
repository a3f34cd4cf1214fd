"""Lunges: feet far apart one before the other, the front knee bent, held still."""

from __future__ import annotations

import numpy as np

from pipeline.attempts.candidate import Candidate, margin
from pipeline.attempts.facing import facing
from pipeline.attempts.rest import lowest_part, span
from pipeline.attempts.signals import Signals, runs, smooth
from pipeline.vocabulary import Side, Skill

APART = 1.0  # trunks between the ankles along the floor, at least
HOLD_S = 0.4
HOLD_STILL = 0.40  # trunks a second
FRONT_BENT = 158.0  # degrees; the front knee is bent more than this in a lunge
KNEES_DIFFER = 12.0  # degrees; a straddle bends both alike


def lunge_candidates(s: Signals) -> list[Candidate]:
    """Every still lunge, in time order."""
    with np.errstate(invalid="ignore"):
        stance = _stance(s)
        held = stance & (smooth(s.speed, 5) < HOLD_STILL)
    out = []
    for a, b in _join(runs(held), stance, s):
        if s.t[b] - s.t[a] < 0.7 * HOLD_S:
            continue
        out.append(_candidate(s, a, b))
    return out


def _stance(s: Signals) -> np.ndarray:
    """(n,) bool: stands in a lunge, still or not."""
    ankle = s.p("ankle")[..., 0]
    feet = lowest_part(s, ("heel", "foot_index"))
    front = _front(s, ankle)
    knee_front = np.take_along_axis(s.knee, front[:, None], axis=1)[:, 0]
    knee_back = np.take_along_axis(s.knee, 1 - front[:, None], axis=1)[:, 0]
    return (
        (np.abs(ankle[:, 0] - ankle[:, 1]) > APART)
        & (np.max(feet, axis=1) < 0.45)
        & (np.cos(np.radians(s.trunk_turn)) > 0.25)
        & (knee_front < FRONT_BENT)
        & (knee_back > knee_front + KNEES_DIFFER)
    )


def _front(s: Signals, ankle: np.ndarray) -> np.ndarray:
    """(n,) 0 left, 1 right: whose foot is in front. The more bent knee's, over which the body leans."""
    hip = np.nanmean(s.p("hip")[..., 0], axis=1, keepdims=True)
    nearer = np.abs(ankle - hip)
    score = np.nan_to_num(s.knee[:, 0] - s.knee[:, 1]) / 30 + np.nan_to_num(nearer[:, 0] - nearer[:, 1])
    return (score > 0).astype(int)


def _join(held: list[tuple[int, int]], stance: np.ndarray, s: Signals) -> list[tuple[int, int]]:
    """Holds parted only by a wobble within the stance are one."""
    joined: list[tuple[int, int]] = []
    for a, b in held:
        if joined and s.t[a] - s.t[joined[-1][1]] < 0.5 and stance[joined[-1][1] : a + 1].mean() > 0.6:
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    return joined


def _candidate(s: Signals, a: int, b: int) -> Candidate:
    start, end = span_around(s, a, b)
    hold = slice(a, b + 1)
    ankle = np.nanmedian(s.p("ankle")[hold, :, 0], axis=0)
    knee = np.nanmedian(s.knee[hold], axis=0)
    front = int(np.median(_front(s, s.p("ankle")[..., 0])[hold]))
    direction = 1 if ankle[front] > ankle[1 - front] else -1
    way, clear = facing(s.xy[hold])
    agrees = clear if way == direction else 1 - clear
    fit = min(
        margin(abs(ankle[0] - ankle[1]), APART, 0.2), margin(s.t[b] - s.t[a], HOLD_S - 0.07, 0.07), margin(knee[front], FRONT_BENT, -10),
        margin(knee[1 - front] - knee[front], KNEES_DIFFER, 8), margin(agrees, 0.45, 0.15),
    )  # fmt: skip
    lead = Side.LEFT if front == 0 else Side.RIGHT
    return Candidate(Skill.LUNGE, s.t[start], s.t[end], s.t[a], s.t[b], direction, lead, fit)


def span_around(s: Signals, a: int, b: int) -> tuple[int, int]:
    """(start, end): out of the hold through the step in and the step back, to the rests beyond."""
    wide = np.abs(s.p("ankle")[:, 0, 0] - s.p("ankle")[:, 1, 0])
    with np.errstate(invalid="ignore"):
        apart = wide > 0.6 * np.nanmedian(wide[a : b + 1])
    first, last = a, b
    while first > 0 and (apart[first - 1] or not np.isfinite(wide[first - 1])):
        first -= 1
    while last < len(s.t) - 1 and (apart[last + 1] or not np.isfinite(wide[last + 1])):
        last += 1
    return span(s, first, last)
