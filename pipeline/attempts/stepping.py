"""Steps taken on the way into or out of a skill, seen as one foot moving past the other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.attempts.candidate import Candidate
from pipeline.attempts.rest import TURNED, heading, hips_sink, standing
from pipeline.attempts.signals import Signals, runs, smooth, velocity
from pipeline.vocabulary import Skill

STEPS, STEP_ENDS = 0.7, 0.35  # trunks a second of one ankle against the other: a step is taken above the first, and lasts above the
# second, each by twice the jitter more
QUIET = 0.25  # quantile of the feet's speed while standing that is the landmarks' jitter: a child may step most of the time
STEP_S = 0.08  # a step lasts at least this
SOON_S = 0.4  # steps that follow this soon are the skill's own; later ones are a child walking off
SINKS_LATER_S = 0.2  # a start this long before the hips begin to sink is that of a step or a shuffle, not of a roll or a stand
BEFORE_S = 0.6  # a start this far before a step's end is not the start


def step_speed(s: Signals) -> np.ndarray:
    """(n,) how fast one ankle moves against the other in the picture, trunks a second."""
    ankle = s.p("ankle")
    return smooth(np.linalg.norm(velocity(ankle[:, 0] - ankle[:, 1], s.t), axis=-1), 3) / s.scale


def bursts(s: Signals) -> list[tuple[float, float]]:
    """(start, end) seconds of every step taken while standing, in order."""
    speed, stood = step_speed(s), standing(s)
    known = speed[stood & np.isfinite(speed)]
    jitter = float(np.quantile(known, QUIET)) if len(known) else 0.0
    with np.errstate(invalid="ignore"):
        moving = (speed > STEP_ENDS + 2 * jitter) & stood
        fast = speed > STEPS + 2 * jitter
    found = [(a, b) for a, b in runs(moving) if (fast[a : b + 1]).any() and s.t[b] - s.t[a] >= STEP_S]
    return [(float(s.t[a]), float(s.t[b])) for a, b in found]


def with_steps(s: Signals, found: list[Candidate]) -> list[Candidate]:
    """Skills that end upright, with the steps that follow at once taken in: closing the feet, a step too many, falling back. Those that
    turn the body are part of a shoulder stand's finish only. A roll or a stand begins after the last step before it, where
    the hips begin to sink.

    found: in time order, no two overlapping; they stay so.
    """
    steps, faced = bursts(s), heading(s)
    out: list[Candidate] = []
    for i, c in enumerate(found):
        floor = out[-1].end_s if out else float(s.t[0])
        limit = found[i + 1].start_s if i + 1 < len(found) else float(s.t[-1])
        if out and c.skill in (Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND):
            late = [
                end for start, end in steps if start <= c.start_s + BEFORE_S and c.start_s < end < min(c.start_s + BEFORE_S, c.key_start_s)
            ]
            c = replace(c, start_s=max([c.start_s, *late]))
        if c.skill in (Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND):
            sinks = hips_sink(s, c.start_s, c.key_start_s)
            c = replace(c, start_s=sinks if sinks > c.start_s + SINKS_LATER_S else c.start_s)
        if c.skill in (Skill.CARTWHEEL, Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND):
            c = _ended(s, c, steps, faced, limit)
        out.append(replace(c, start_s=max(c.start_s, floor)))
    return out


def _ended(s: Signals, c: Candidate, steps: list[tuple[float, float]], faced: np.ndarray, limit: float) -> Candidate:
    at = lambda when: int(np.argmin(np.abs(s.t - when)))  # noqa: E731
    away = np.linalg.norm(faced - _around(faced, at(c.end_s)), axis=-1)
    ends = [c.end_s]
    for start, end in steps:
        if ends[-1] < end <= limit and start <= ends[-1] + SOON_S:
            ends.append(end)
    turning = np.flatnonzero(np.nan_to_num(away[at(c.end_s) : at(ends[-1]) + 1]) > TURNED)
    if len(turning) and c.skill is not Skill.SHOULDER_STAND:  # the steps turn her: only those before the turn count
        turned_at = float(s.t[at(c.end_s) + turning[0]])
        ends = [c.end_s, *(end for end in ends[1:] if end < turned_at and away[at(end)] < TURNED / 2)]
    end_s = ends[-1]
    return replace(c, end_s=end_s, key_end_s=end_s if c.skill is Skill.BACKWARD_ROLL else c.key_end_s)


def _around(v: np.ndarray, i: int) -> np.ndarray:
    """(k,) the median of v (n, k) over the samples next to i; NaN where none is known."""
    near = v[max(0, i - 2) : i + 3]
    near = near[np.isfinite(near).all(axis=1)]
    return np.median(near, axis=0) if len(near) else np.full(v.shape[1], np.nan)
