"""Lunges, straight and loaded: feet far apart one before the other, the front knee bent or the arms up, held still."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.attempts.arms import arms_raised
from pipeline.attempts.candidate import Candidate, margin
from pipeline.attempts.facing import facing
from pipeline.attempts.once import once
from pipeline.attempts.rest import ASKEW, GROWS, LEFT_FAR, LEFT_NEAR, LONGEST_LEAD_S, hip_height, hip_width, lowest_part, span, still_speed
from pipeline.attempts.signals import Signals, bridged, runs, smooth, velocity
from pipeline.attempts.stepping import step_speed
from pipeline.vocabulary import Side, Skill

APART, APART_SQUARE = 1.0, 0.88  # trunks between the ankles along the floor, at least; and where she is seen square from the side
HOLD_S = 0.4
HOLD_STILL = 0.30  # trunks a second
FRONT_BENT = 165.0  # degrees; the front knee is bent more than this in a lunge
TRUNK_UP = -0.35  # cosine of the trunk's tilt: a badly piked lunge folds to level and below
ARMS_UP = (
    0.0  # trunks of the wrists beyond the shoulders: a stride with the arms up is meant as a lunge, though the front knee stays straight
)
FEET_TOGETHER = 0.75  # trunks; nearer than this at some moment, or the legs followed are somebody else's
FEET_DOWN = 0.45  # trunks; the back heel is lifted, its toes are not
SLOPES = 0.12  # trunks a trunk between the feet: a floor seen from above and off square slopes in the picture, by up to seven degrees more
FROM_THE_SIDE, SQUARE = 0.42, 0.25  # trunks the hips may appear wide: a straddle seen from the front is no lunge
# What tells a loaded lunge from a straight one: the back knee is bent, and the heel is up over the toes. The knee decides; where it is
# near its limit the heel does. Fitted on drawn lunges of both kinds.
BACK_BENT, BENT_WIDTH = 146.0, 9.0  # degrees; a straight lunge with a knee more bent than this is a loaded one in all but name
HEEL_UP, HEEL_WIDTH = 0.22, 0.15  # trunks of the heel over the toes
PITCHED, PITCH_WIDTH = 32.0, 15.0  # degrees of the foot from heel to toes, down from level
HEEL_COUNTS = 8.0 / BENT_WIDTH  # at most: a knee further than 8 degrees from its limit decides alone
BENT_FURTHER, FURTHER_COUNTS = 10.0, 2.0  # degrees the knee is bent more than in a straight hold of the same step, and what that adds
STRAIGHTER = 20.0  # degrees the knee is straighter than in a bent hold of the same step, which takes as much off
DIFFERS = 1.0  # in degrees of the knee by BENT_WIDTH: so much more loaded is another lunge
KNEE_NEAR, KNEE_FAR = 5.0, 15.0  # degrees the knee has left its angle in a hold: above jitter, and plainly on the way
KNEE_GROWS = 0.35 * KNEE_NEAR**0.5 / (KNEE_FAR**0.5 - KNEE_NEAR**0.5)  # of the time between the two that it began before, as in `rest`
KIND_S = 0.25  # a kind lasts at least this within a hold, or it is the way in or out
PARTS_LATER_S = 0.15  # a start this long before the feet begin to part is that of the arms
LEAPS, LEAP_REACH = 6.0, 5  # trunks a second of one foot against the other, and samples around it that it spoils
CALM_TURN, CALM_RISE = 25.0, 0.5  # degrees and trunks a second of a trunk that stays
STUMBLE = 8  # samples for which the feet of a step may seem together: left and right are mixed up
WOBBLE_S, MIXED_UP_S = 0.6, 1.2
BEYOND_S = 0.1  # what a clip cut to its hold may show before and after it


def lunge_candidates(s: Signals, told: Skill | None = None) -> list[Candidate]:
    """Every still lunge, straight or loaded, in time order. told: the one kind that is looked for, where the coach has said."""
    stance = _stance(s)
    with np.errstate(invalid="ignore"):
        held = (stance & (s.speed < max(HOLD_STILL, 1.2 * still_speed(s)))) | _mixed_up(s, stance)
    kinds = _kinds(s, runs(held))
    holds = [(a, b, loaded) for a, b, loaded in _join(kinds, s) if s.t[b] - s.t[a] >= 0.7 * HOLD_S]
    found = [_candidate(s, *hold, told) for hold in holds]
    return _one_after_the_other(s, holds, found)


def _mixed_up(s: Signals, stance: np.ndarray) -> np.ndarray:
    """(n,) bool: moments of a stance in which the feet leap though trunk and hips are still: left and right were mixed up."""
    speed = step_speed(s)
    turning, rising = (np.abs(velocity(v[:, None], s.t)[:, 0]) for v in (s.trunk_turn, hip_height(s)))
    with np.errstate(invalid="ignore"):
        leaps = (speed > LEAPS) & (turning < CALM_TURN) & (rising < CALM_RISE)
    reach = 2 * LEAP_REACH + 1
    near = smooth(leaps.astype(float), reach) > 0
    return near & (smooth(stance.astype(float), reach) > 0) & (turning < CALM_TURN)


@once
def _stance(s: Signals) -> np.ndarray:
    """(n,) bool: feet far apart on the floor, trunk up, seen from the side; still or not."""
    ankle = s.p("ankle")[..., 0]
    feet = lowest_part(s, ("heel", "foot_index"))
    with np.errstate(invalid="ignore"):
        return (
            (np.abs(ankle[:, 0] - ankle[:, 1]) > _apart_enough(s) * s.scale)
            & (np.max(feet, axis=1) < FEET_DOWN + SLOPES * np.abs(ankle[:, 0] - ankle[:, 1]))
            & (np.cos(np.radians(s.trunk_turn)) > TRUNK_UP)
            & (hip_width(s) < FROM_THE_SIDE)
        )


def _apart_enough(s: Signals) -> np.ndarray:
    """(n,) trunks from which on feet are apart as in a lunge."""
    return np.where(hip_width(s) < SQUARE, APART_SQUARE, APART)


@once
def loaded(s: Signals) -> np.ndarray:
    """(n,) how clearly the back leg is loaded: above 0 loaded, below 0 straight; NaN out of a stance.

    The leg behind is the one further from where the athlete faces; where she faces is voted over each stance. A knee that bends
    out of a straight hold counts as loaded earlier than one that was never straighter.
    """
    out = np.full(len(s.t), np.nan)
    ankle = s.p("ankle")[..., 0]
    heel = s.h("heel") - s.h("foot_index")
    foot = s.p("foot_index") - s.p("heel")
    for a, b in runs(_stance(s)):
        here = slice(a, b + 1)
        direction, _ = facing(s.xy[here])
        back = (direction * (ankle[here, 1] - ankle[here, 0]) <= 0).astype(int)
        rows = np.arange(a, b + 1)
        knee = s.knee[rows, back]
        score = (BACK_BENT - knee) / BENT_WIDTH
        pitch = np.degrees(np.arctan2(foot[rows, back, 1], np.abs(foot[rows, back, 0])))  # a foot turned out may seem to point back
        up = np.nan_to_num((heel[rows, back] - HEEL_UP) / HEEL_WIDTH) + np.nan_to_num((pitch - PITCHED) / PITCH_WIDTH)
        score += np.clip(up, -HEEL_COUNTS, HEEL_COUNTS)
        straightest, most_bent = _held(s, a, b, knee)
        with np.errstate(invalid="ignore"):
            out[here] = score + FURTHER_COUNTS * ((knee < straightest - BENT_FURTHER).astype(float) - (knee > most_bent + STRAIGHTER))
    return out


def _held(s: Signals, a: int, b: int, knee: np.ndarray) -> tuple[float, float]:
    """The back knee's angle in the straightest and in the most bent still quarter of a second of a stance, degrees; NaN where nothing
    was still."""
    with np.errstate(invalid="ignore"):
        still = s.speed[a : b + 1] < max(HOLD_STILL, 1.2 * still_speed(s))
    least = int(KIND_S / (s.t[1] - s.t[0])) if len(s.t) > 1 else 1
    level = smooth(np.where(still, knee, np.nan), least)
    whole = (smooth(still.astype(float), least) > 0.99) & np.isfinite(level)
    return (float(np.max(level[whole])), float(np.min(level[whole]))) if whole.any() else (float("nan"), float("nan"))


def _kinds(s: Signals, held: list[tuple[int, int]]) -> list[tuple[int, int, bool]]:
    """The still stretches cut where a straight lunge becomes a loaded one or the reverse, each long enough to be a hold."""
    score = smooth(loaded(s), 5)
    least = int(KIND_S / (s.t[1] - s.t[0])) if len(s.t) > 1 else 1
    out: list[tuple[int, int, bool]] = []
    for a, b in held:
        part = score[a : b + 1]
        more = max(0, least - len(part) // 2)  # a moment is not enough to go by
        known = score[max(0, a - more) : b + 1 + more]
        known = known[np.isfinite(known)]
        whole = bool(len(known) and np.median(known) > 0)
        pieces = [(x, y, k) for k in (False, True) for x, y in runs((part > 0) == k) if y - x + 1 >= least]
        if len({k for _, _, k in pieces}) < 2 or not _differ(part, pieces):
            out.append((a, b, whole))
        else:
            out += [(a + x, a + y, k) for x, y, k in sorted(pieces)]
    return out


def _differ(score: np.ndarray, pieces: list[tuple[int, int, bool]]) -> bool:
    """Whether the loaded pieces of a still stretch are plainly more loaded than the straight ones: one hold near the limit between them
    is one lunge."""
    bent, straight = (np.concatenate([score[x : y + 1] for x, y, k in pieces if k == kind]) for kind in (True, False))
    if not (np.isfinite(bent).any() and np.isfinite(straight).any()):
        return True
    return bool(np.nanmedian(bent) - np.nanmedian(straight) > DIFFERS)


def _join(held: list[tuple[int, int, bool]], s: Signals) -> list[tuple[int, int, bool]]:
    """Holds of one kind parted only by a wobble, the feet staying apart, are one; so are those between which only the legs seem to
    move while trunk and hips stay where they are: then it was left and right that were mixed up, not the athlete who moved."""
    joined: list[tuple[int, int, bool]] = []
    ankle = s.p("ankle")[..., 0]
    wide = np.abs(ankle[:, 0] - ankle[:, 1])
    for a, b, kind in held:
        if joined and joined[-1][2] == kind:
            last = joined[-1][1]
            gap = s.t[a] - s.t[last]
            stayed = np.nanmin((wide / s.scale)[last : a + 1]) > 0.85 * APART
            if (gap < WOBBLE_S and stayed) or (gap < MIXED_UP_S and _trunk_stays(s, last, a)):
                joined[-1] = (joined[-1][0], b, kind)
                continue
        joined.append((a, b, kind))
    return joined


def _trunk_stays(s: Signals, a: int, b: int) -> bool:
    """Whether trunk and hips keep their place between two samples."""
    turn, high = s.trunk_turn[a : b + 1], hip_height(s)[a : b + 1]
    turn, high = turn[np.isfinite(turn)], high[np.isfinite(high)]
    return bool(len(turn) and len(high) and np.ptp(turn) < 6.0 and np.ptp(high) < 0.1)


def _one_after_the_other(s: Signals, holds: list[tuple[int, int, bool]], found: list[Candidate]) -> list[Candidate]:
    """Lunges of different kinds with no step between them meet where the first hold ends."""
    out = list(found)
    wide = np.abs(s.p("ankle")[:, 0, 0] - s.p("ankle")[:, 1, 0])
    for i in range(len(out) - 1):
        (_, a, kind), (b, _, other) = holds[i], holds[i + 1]
        if kind != other and np.nanmin(wide[a : b + 1]) > FEET_TOGETHER:
            cut = _knee_leaves(s, holds[i], holds[i + 1])
            out[i], out[i + 1] = replace(out[i], end_s=cut), replace(out[i + 1], start_s=cut)
    return out


def _knee_leaves(s: Signals, first: tuple[int, int, bool], second: tuple[int, int, bool]) -> float:
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
    wide = np.abs(s.p("ankle")[:, 0, 0] - s.p("ankle")[:, 1, 0])[s.between(start_s - 0.3, end_s + 0.3)]
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
    apart = float(np.nanmedian(np.abs(s.p("ankle")[hold, 0, 0] - s.p("ankle")[hold, 1, 0]) / s.scale[hold]))
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
        margin(apart, float(np.median(_apart_enough(s)[hold])), 0.2), margin(s.t[b] - s.t[a], HOLD_S - 0.07, 0.07), max(margin(knee[front], FRONT_BENT, -8), margin(arms, ARMS_UP, 0.2)),
        margin(clear, 0.6, 0.1),
        margin(way, 0.0, 0.8),
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
    wide = np.abs(s.p("ankle")[:, 0, 0] - s.p("ankle")[:, 1, 0])
    with np.errstate(invalid="ignore"):
        apart = bridged(wide > 0.6 * np.nanmedian(wide[a : b + 1]), STUMBLE)
    first, last = a, b
    while first > 0 and (apart[first - 1] or not np.isfinite(wide[first - 1])):
        first -= 1
    while last < len(s.t) - 1 and (apart[last + 1] or not np.isfinite(wide[last + 1])):
        last += 1
    return span(s, first, last)
