"""Lunges, straight and loaded: feet far apart one before the other, the front knee bent or the arms up, held still."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.attempts.arms import arms_raised
from pipeline.attempts.candidate import Candidate, margin
from pipeline.attempts.facing import facing
from pipeline.attempts.kinds import kinds_of, loaded
from pipeline.attempts.rest import ASKEW, GROWS, LEFT_FAR, LEFT_NEAR, LONGEST_LEAD_S, hip_width, span
from pipeline.attempts.signals import Signals, bridged, runs, smooth
from pipeline.attempts.stance import APART, MIXED_UP_S, apart, apart_enough, held, trunk_stays
from pipeline.vocabulary import Side, Skill

HOLD_S = 0.4
FRONT_BENT = 165.0  # degrees; the front knee is bent more than this in a lunge
ARMS_UP = (
    0.0  # trunks of the wrists beyond the shoulders: a stride with the arms up is meant as a lunge, though the front knee stays straight
)
FEET_TOGETHER = 0.75  # trunks; nearer than this at some moment, or the legs followed are somebody else's
KNEE_NEAR, KNEE_FAR = 5.0, 15.0  # degrees the knee has left its angle in a hold: above jitter, and plainly on the way
KNEE_GROWS = 0.35 * KNEE_NEAR**0.5 / (KNEE_FAR**0.5 - KNEE_NEAR**0.5)  # of the time between the two that it began before, as in `rest`
PARTS_LATER_S = 0.15  # a start this long before the feet begin to part is that of the arms
STUMBLE = 8  # samples for which the feet of a step may seem together: left and right are mixed up
WOBBLE_S = 0.6
BEYOND_S = 0.1  # what a clip cut to its hold may show before and after it
OTHER_KIND = 0.3  # how clear a lunge is at least whose kind the coach has said, but for its knee

Hold = tuple[int, int, bool]  # first and last sample, and whether it is a loaded one


def lunge_candidates(s: Signals, told: Skill | None = None) -> list[Candidate]:
    """Every still lunge, straight or loaded, in time order.

    told: the kind, where the coach has said it. Every hold is of it then, however bent the knee, but for one of the other kind out of
    the same step as a hold of it.
    """
    kinds = kinds_of(s, runs(held(s)))
    holds = _without_rest([(a, b, loaded) for a, b, loaded in _join(kinds, s) if s.t[b] - s.t[a] >= 0.7 * HOLD_S], s)
    found = [_candidate(s, *hold, told) for hold in holds]
    found = _one_after_the_other(s, holds, found)
    if told is None:
        return found
    loading = told is Skill.LOADED_LUNGE
    other = [kind is not loading and any(holds[k][2] is loading and _same_step(s, holds[min(i, k)], holds[max(i, k)])
             for k in (i - 1, i + 1) if 0 <= k < len(holds)) for i, (_, _, kind) in enumerate(holds)]  # fmt: skip
    return [c for c, left_out in zip(found, other, strict=True) if not left_out]


def _same_step(s: Signals, first: Hold, second: Hold) -> bool:
    """Whether no step lies between two holds, the first one earlier."""
    return bool(np.nanmin(apart(s)[first[1] : second[0] + 1]) > FEET_TOGETHER)


def _join(holds: list[Hold], s: Signals) -> list[Hold]:
    """Holds of one kind parted only by a wobble, the feet staying apart, are one; so are those between which only the legs seem to
    move while trunk and hips stay where they are: then it was left and right that were mixed up, not the athlete who moved."""
    joined: list[Hold] = []
    wide = apart(s)
    for a, b, kind in holds:
        if joined and joined[-1][2] == kind:
            last = joined[-1][1]
            gap = s.t[a] - s.t[last]
            stayed = np.nanmin((wide / s.scale)[last : a + 1]) > 0.85 * APART
            if (gap < WOBBLE_S and stayed) or (gap < MIXED_UP_S and trunk_stays(s, last, a)):
                joined[-1] = (joined[-1][0], b, kind)
                continue
        joined.append((a, b, kind))
    return joined


def _without_rest(holds: list[Hold], s: Signals) -> list[Hold]:
    """Holds of one kind that were stepped into from one rest and out of to one are one lunge, whatever the feet seem to do between."""
    whole: list[Hold] = []
    for a, b, kind in holds:
        if whole and whole[-1][2] == kind:
            first, last, _ = whole[-1]
            if span_around(s, first, last)[1] >= s.t[b] and span_around(s, a, b)[0] <= s.t[first]:
                whole[-1] = (first, b, kind)
                continue
        whole.append((a, b, kind))
    return whole


def _one_after_the_other(s: Signals, holds: list[Hold], found: list[Candidate]) -> list[Candidate]:
    """Lunges of different kinds with no step between them meet where the first hold ends."""
    out = list(found)
    for i in range(len(out) - 1):
        if holds[i][2] != holds[i + 1][2] and _same_step(s, holds[i], holds[i + 1]):
            cut = _knee_leaves(s, holds[i], holds[i + 1])
            out[i], out[i + 1] = replace(out[i], end_s=cut), replace(out[i + 1], start_s=cut)
    return out


def _knee_leaves(s: Signals, first: Hold, second: Hold) -> float:
    """When the back knee begins to bend, or to straighten, out of the first of two holds of one step into the second, seconds; where that
    is not seen, when the first ends."""
    a, end, _ = first
    b, last, _ = second
    t = s.t[a : last + 1]
    knee = smooth(s.knee[:, _back(s, a, last)], 3)[a : last + 1]
    start, goal = (
        float(np.nanmedian(part)) if np.isfinite(part).any() else np.nan for part in (knee[: max(1, (end - a) // 2)], knee[b - a :])
    )
    if not abs(goal - start) > KNEE_FAR:
        return float(s.t[end])
    gone = (knee - start) * np.sign(goal - start)
    near, far = (np.flatnonzero(gone[: b - a + 1] < level) for level in (KNEE_NEAR, KNEE_FAR))
    if len(near) == 0 or len(far) == 0:
        return float(s.t[end])
    return float(np.clip(t[near[-1]] - (t[far[-1]] - t[near[-1]]) * KNEE_GROWS, s.t[a], s.t[b]))


def _back(s: Signals, a: int, b: int) -> int:
    """0 or 1: the leg behind, left or right, over a stance."""
    direction, _ = facing(s.xy[a : b + 1])
    ankle = s.p("ankle")[a : b + 1, :, 0]
    return int(np.nanmedian(direction * (ankle[:, 1] - ankle[:, 0])) <= 0)


def _closest(s: Signals, start_s: float, end_s: float) -> float:
    """How near the feet come to each other around a lunge, trunks along the floor: one steps into it or out of it."""
    wide = apart(s)[s.between(start_s - 0.3, end_s + 0.3)]
    wide = wide[np.isfinite(wide)]
    return float(np.quantile(wide, 0.03)) if len(wide) else float("nan")


def _is_all(s: Signals, start_s: float, end_s: float) -> bool:
    """Whether nothing but the lunge was filmed: a clip cut to its hold, in which nobody steps."""
    seen = s.t[np.isfinite(s.trunk_turn)]
    return bool(len(seen)) and start_s <= seen[0] + BEYOND_S and end_s >= seen[-1] - BEYOND_S


def _candidate(s: Signals, a: int, b: int, kind: bool, told: Skill | None) -> Candidate:
    start_s, end_s = span_around(s, a, b)
    parts = _feet_part(s, start_s, float(s.t[a]))
    start_s = parts if parts > start_s + PARTS_LATER_S else start_s
    hold = slice(a, b + 1)
    around = s.between(start_s, end_s)
    direction, clear = facing(s.xy[around])
    wide = float(np.nanmedian((apart(s) / s.scale)[hold]))
    front, sure = _front(s, around, direction)
    knee = np.nanmedian(s.knee[hold], axis=0)
    raised = arms_raised(s)[hold]
    arms = float(np.nanmedian(raised)) if np.isfinite(raised).any() else np.nan
    stepped = 1.0 if _is_all(s, start_s, end_s) else max(margin(_closest(s, start_s, end_s), FEET_TOGETHER, -0.1), 0.2)
    score = loaded(s)[hold]
    score = score[np.isfinite(score)]
    way = float(np.median(score)) if len(score) else (0.0 if not kind else 1e-6)
    kind = told is Skill.LOADED_LUNGE if told is not None else way > 0
    way *= 1 if kind else -1
    fit = min(
        stepped,
        margin(wide, float(np.median(apart_enough(s)[hold])), 0.2), margin(s.t[b] - s.t[a], HOLD_S - 0.07, 0.07), max(margin(knee[front], FRONT_BENT, -8), margin(arms, ARMS_UP, 0.2)),
        margin(clear, 0.6, 0.1),
        max(margin(way, 0.0, 0.8), OTHER_KIND if told is not None else 0.0),
        margin(float(np.nanmedian(hip_width(s)[hold])), ASKEW, -0.05),
    )  # fmt: skip
    lead = (Side.LEFT, Side.RIGHT)[front] if sure else Side.NONE
    skill = Skill.LOADED_LUNGE if kind else Skill.LUNGE
    return Candidate(skill, start_s, end_s, s.t[a], s.t[b], direction, lead, fit)


def _feet_part(s: Signals, start_s: float, hold_s: float) -> float:
    """When the feet begin to part on the way into a hold, seconds; NaN where they do not. Arms lifted before the step, which shift the
    landmarks of the trunk, do not count."""
    wide = np.abs(s.p("ankle")[:, 0, 0] - s.p("ankle")[:, 1, 0])
    index = np.flatnonzero(s.between(start_s - 0.1, hold_s) & np.isfinite(wide))
    if len(index) < 5:
        return float("nan")
    more = wide[index] - np.quantile(wide[index], 0.1)
    near, far = (np.flatnonzero(more < level) for level in (LEFT_NEAR, LEFT_FAR))
    if len(near) == 0 or far[-1] == len(more) - 1:
        return float("nan")
    t = s.t[index]
    return float(t[near[-1]] - min((t[far[-1]] - t[near[-1]]) * GROWS, LONGEST_LEAD_S))


def _front(s: Signals, around: np.ndarray, direction: int) -> tuple[int, bool]:
    """(0 left or 1 right leg in front, whether it is sure), voted over the whole lunge: left and right may be mixed up for a while."""
    ahead = direction * (s.p("ankle")[around, 0, 0] - s.p("ankle")[around, 1, 0])
    ahead = ahead[np.isfinite(ahead) & (np.abs(ahead) > 0.5 * APART)]
    vote = float(np.mean(np.sign(ahead))) if len(ahead) else 0.0
    return int(vote < 0), abs(vote) > 0.3


def span_around(s: Signals, a: int, b: int) -> tuple[float, float]:
    """(start, end) seconds: out of the hold through the step in and the step back, to the rests beyond."""
    wide = apart(s)
    with np.errstate(invalid="ignore"):
        parted = bridged(wide > 0.6 * np.nanmedian(wide[a : b + 1]), STUMBLE)
    first, last = a, b
    while first > 0 and (parted[first - 1] or not np.isfinite(wide[first - 1])):
        first -= 1
    while last < len(s.t) - 1 and (parted[last + 1] or not np.isfinite(wide[last + 1])):
        last += 1
    return span(s, first, last)
