"""Cartwheels, backward rolls and shoulder stands: every time the trunk goes over, and what it was."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.attempts.candidate import Candidate, margin
from pipeline.attempts.facing import facing
from pipeline.attempts.rest import lowest_part, span, still_speed
from pipeline.attempts.signals import Signals, pair_mean, runs, smooth, velocity
from pipeline.vocabulary import Side, Skill

BRIDGE_S = 1.0  # the landmarks may lose an upside-down child for this long
SHOULDERS_DOWN = 1.0  # trunks; in a shoulder stand they rest on the floor, below this even where the floor is not well known
FEET_UP = 1.5  # trunks; both feet get at least this high; a forward bend leaves them on the floor
FULL_TURN = 230.0  # degrees the trunk has gone round in a roll or cartwheel; a shoulder stand comes back
ARMS_CARRY = 0.45  # trunks the shoulders lie over the lower hand when arms carry the body
TOUCH = 0.22  # trunks above its resting height at which a falling hand or foot is as good as down: it falls ten trunks a second
FEET_SEEN = 0.8  # share of the time; less than this, and the highest they went may have been missed
SCISSORS = 1.1  # trunks between the feet that are too many for a shoulder stand: legs scissored that far are a cartwheel's
WIDEST = 0.8  # quantile of the distance between the feet
HOLD_S = 0.4  # the shortest hold that counts
HOLD_STILL = 0.45  # trunks a second in a hold
TRUNK_STILL = 40.0  # degrees a second the trunk may turn in one
LEAST_STILL_S, LEGS_LOST_S = 0.2, 0.6  # a still stretch shorter than the first is chance; landmarks may be lost for the second in a hold
HOLD_FEET = 0.8  # trunks; the feet of a badly piked stand hang over the head at about hip height


@dataclass(frozen=True)
class Over:
    """One time the trunk went over, and the features it is judged by."""

    first: int  # samples with the trunk below level
    last: int
    start: int  # samples where the movement around it begins and ends
    end: int
    start_s: float  # the same in seconds, between the samples
    end_s: float
    shoulders: float  # trunks above the floor, at their lowest
    knees: float  # degrees, the median knee angle
    apart: float  # trunks between the ankles in the picture, at their widest (a high quantile)
    feet: float  # highest both feet got, trunks above the floor
    turned: float  # degrees the trunk went round from start to end, clockwise positive
    facing: int
    facing_clear: float  # 0.5..1
    seen: float  # 0..1, share of the samples here and half a second around in which the feet were seen
    hold: tuple[int, int] | None  # the longest still stretch with the legs up
    held_s: float  # seconds that the trunk stayed as it was with the legs up, though these may not have been seen still


def times_over(s: Signals, told: Skill | None = None, least: float = 0.0) -> list[Over]:
    """Every stretch with the trunk upside down that was one of our skills at least as clearly as `least`, in time order. A try that
    failed is no border: it belongs to the skill that it leads into or follows without a rest."""
    with np.errstate(invalid="ignore"):
        down = np.cos(np.radians(s.trunk_turn))
        over = down < 0.0
    rate = 1 / (s.t[1] - s.t[0]) if len(s.t) > 1 else 1.0
    over = _bridge(over, np.isnan(down), int(BRIDGE_S * rate))
    stretches = [(a, b) for a, b in runs(over) if np.nanmin(down[a : b + 1], initial=1.0) < -0.35 and (b - a + 1) / rate > 0.15]
    stretches = _join(stretches, int(0.3 * rate))
    out = _described(s, stretches)
    judged = [judge(s, o, told) for o in out]
    ours = [c is not None and c.fit >= least for c in judged]
    return out if all(ours) else _described(s, [stretch for stretch, x in zip(stretches, ours, strict=True) if x])


def _described(s: Signals, stretches: list[tuple[int, int]]) -> list[Over]:
    """Each stretch with what is around it, none reaching into its neighbours."""
    floors = [0, *(b for _, b in stretches)]
    ceilings = [*(a for a, _ in stretches[1:]), len(s.t) - 1]
    return [_describe(s, a, b, floor, ceiling) for (a, b), floor, ceiling in zip(stretches, floors, ceilings, strict=False)]


def _bridge(mask: np.ndarray, unknown: np.ndarray, longest: int) -> np.ndarray:
    """Unknown samples between two True ones count as True where the gap is short."""
    out = mask.copy()
    for a, b in runs(unknown):
        if a > 0 and b < len(mask) - 1 and mask[a - 1] and mask[b + 1] and b - a + 1 <= longest:
            out[a : b + 1] = True
    return out


def _join(stretches: list[tuple[int, int]], gap: int) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for a, b in stretches:
        if joined and a - joined[-1][1] <= gap:
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    return joined


def _describe(s: Signals, a: int, b: int, floor: int, ceiling: int) -> Over:
    start_s, end_s = span(s, a, b, floor=floor, ceiling=ceiling)
    start, end = (int(np.argmin(np.abs(s.t - at))) for at in (start_s, end_s))
    inside = slice(a, b + 1)
    shoulder = pair_mean(s.h("shoulder")[inside])
    shoulders = float(np.nanquantile(shoulder, 0.15)) if np.isfinite(shoulder).any() else float("nan")
    feet = float(np.nanmax(np.fmin(*s.h("ankle")[inside].T), initial=0.0))
    known = np.flatnonzero(np.isfinite(s.trunk_turn[start : end + 1])) + start
    turned = float(s.trunk_turn[known[-1]] - s.trunk_turn[known[0]]) if len(known) else 0.0
    way, clear = facing(s.xy[start : end + 1])
    knees = float(np.nanmedian(s.knee[inside])) if np.isfinite(s.knee[inside]).any() else float("nan")
    legs = np.linalg.norm(s.p("ankle")[inside, 0] - s.p("ankle")[inside, 1], axis=-1)
    apart = float(np.nanquantile(legs, WIDEST)) if np.isfinite(legs).any() else float("nan")
    around = np.isfinite(s.h("ankle")).all(axis=1) & s.between(s.t[a] - 0.5, s.t[b] + 0.5)
    seen = float(around.sum() / s.between(s.t[a] - 0.5, s.t[b] + 0.5).sum())
    hold, held_s = _hold(s, a, b)
    return Over(a, b, start, end, start_s, end_s, shoulders, knees, apart, feet, turned, way, clear, seen, hold, held_s)


def _hold(s: Signals, a: int, b: int) -> tuple[tuple[int, int] | None, float]:
    """(The longest stretch, in the samples a..b, with the hips over the shoulders, the feet off the floor and little movement; how many
    seconds the hold lasted). Where legs are taken for somebody else's for a while, the trunk alone tells how long, and where too little
    was still, when."""
    ankle, hip = pair_mean(s.h("ankle")[a : b + 1]), pair_mean(s.h("hip")[a : b + 1])
    shoulder = pair_mean(s.h("shoulder")[a : b + 1])
    still = max(HOLD_STILL, 1.2 * still_speed(s))
    rate = 1 / (s.t[1] - s.t[0])
    with np.errstate(invalid="ignore"):
        up = (ankle > HOLD_FEET) & (hip - shoulder > 0.4)
        held = up & (s.speed[a : b + 1] < still)
        turns = np.abs(smooth(velocity(s.trunk_turn[a : b + 1, None], s.t[a : b + 1])[:, 0], 5))
        propped = _bridge(up & (turns < TRUNK_STILL), np.isnan(turns), int(LEGS_LOST_S * rate))
    found = _join(runs(_bridge(held, np.isnan(ankle), 6)), 2)
    longest = lambda stretches: max(stretches, key=lambda r: r[1] - r[0], default=(0, 0))  # noqa: E731
    first, last = longest(found)
    from_, to = longest(_join(runs(propped), 2))
    seconds = max(last - first, to - from_) / rate
    if last - first < LEAST_STILL_S * rate and to - from_ >= HOLD_S * rate:
        first, last = from_, to
    return ((a + first, a + last) if found or last > first else None), seconds


def judge(s: Signals, over: Over, told: Skill | None) -> Candidate | None:
    """The skill that this time over was, or None if it was none of ours. `told` asks only how well that one fits."""
    best = max(
        (c for c in (_cartwheel(s, over), _roll(s, over), _shoulder_stand(s, over)) if c is not None and told in (None, c.skill)),
        key=lambda c: c.fit,
        default=None,
    )
    return best


def on_hands(over: Over) -> float:
    """0..1: did arms carry the trunk round with long legs (a cartwheel), or did it roll over the shoulders tucked?

    Four signs vote: how low the shoulders come, how high the feet go, how straight the knees are and how far the feet come apart.
    Their middles and spreads lie half way between computed cartwheels and rolls of many bodies and cameras; each alone may be off where
    the floor is not well known or the legs are kept together.
    """
    apart = max((over.apart - 0.9) / 0.3, -0.5)  # feet kept together say little: beginners' cartwheels may be tucked
    signs = ((over.shoulders - 0.65) / 0.15, (over.feet - 2.1) / 0.3, (over.knees - 130.0) / 30.0, apart)
    known = [min(max(v, -3.0), 3.0) for v in signs if np.isfinite(v)]
    return margin(sum(known), 0.0, 2.0) if known else 0.0


def _cartwheel(s: Signals, over: Over) -> Candidate | None:
    fit = min(on_hands(over), margin(over.feet, FEET_UP, 0.3), margin(abs(over.turned), FULL_TURN - 40, 50))
    hands, feet = lowest_part(s, ("wrist", "index")), lowest_part(s, ("heel", "foot_index"))
    direction = 1 if over.turned >= 0 else -1
    a, b = over.first, over.last
    hand = np.nanmin(hands, axis=1, initial=np.inf)
    hand[~np.isfinite(hands).any(axis=1)] = np.nan
    middle = slice(a, b + 1)
    if not np.isfinite(hand[middle]).any():
        return None
    on_floor = float(np.nanquantile(hand[middle], 0.2))
    over_hands = pair_mean(s.h("shoulder"))[middle] - hand[middle]
    fit = min(fit, margin(float(np.nanmax(over_hands)) if np.isfinite(over_hands).any() else float("nan"), ARMS_CARRY, 0.15))
    first = _crossing(s.t, hand, a + int(np.nanargmin(hand[middle])), over.start, on_floor + TOUCH)
    foot = np.full(len(s.t), np.nan)
    some = np.isfinite(feet).any(axis=1)
    foot[some] = np.nanmin(feet[some], axis=1)
    top = a + int(np.nanargmax(foot[middle])) if np.isfinite(foot[middle]).any() else (a + b) // 2
    after = foot[top : over.end + 1]
    if not np.isfinite(after).any():
        return None
    landed = float(np.nanquantile(after, 0.1))
    last = _crossing_down(s.t, foot, top, over.end, landed + TOUCH)
    lead = _first_hand(s, over, hands, on_floor)
    return Candidate(Skill.CARTWHEEL, over.start_s, over.end_s, first, max(last, first), direction, lead, fit)


def _crossing(t: np.ndarray, v: np.ndarray, low: int, limit: int, level: float) -> float:
    """Going back from the sample `low`, where v is below level: the time at which v came down through it, seen or not."""
    known = np.flatnonzero(np.isfinite(v[limit : low + 1])) + limit
    for j, i in reversed(list(pairwise(known))):
        if v[j] >= level > v[i]:
            return float(t[i] - (level - v[i]) / (v[j] - v[i]) * (t[i] - t[j]))
    return float(t[limit])


def _crossing_down(t: np.ndarray, v: np.ndarray, top: int, limit: int, level: float) -> float:
    """Going on from the sample `top`, where v is high: the time at which v comes down through level, seen or not."""
    known = np.flatnonzero(np.isfinite(v[top : limit + 1])) + top
    for j, i in pairwise(known):
        if v[j] >= level > v[i]:
            return float(t[i] - (level - v[i]) / (v[j] - v[i]) * (t[i] - t[j]))
    return float(t[limit])


def _first_hand(s: Signals, over: Over, hands: np.ndarray, on_floor: float) -> Side:
    """The side whose hand is lower on the way down; that leg led."""
    goes = np.abs(s.trunk_turn - s.trunk_turn[over.start])
    with np.errstate(invalid="ignore"):
        falling = (goes > 50) & (goes < 150) & s.between(s.t[over.start], s.t[over.last])
    gap = (hands[:, 0] - hands[:, 1])[falling]
    gap = gap[np.isfinite(gap)]
    if len(gap) == 0 or abs(np.median(gap)) < 0.1:
        return Side.NONE
    return Side.LEFT if np.median(gap) < 0 else Side.RIGHT


def _roll(s: Signals, over: Over) -> Candidate | None:
    backward = -over.turned * over.facing  # degrees turned backwards
    rose = margin(over.feet, 0.5, 0.2)
    if over.seen < FEET_SEEN:  # lost while upside down: how high the feet went is not known, and the turn must do
        rose = max(rose, 0.6)
    fit = min(
        1 - on_hands(over), margin(backward, FULL_TURN, 60), rose, margin(over.facing_clear, 0.55, 0.05),
    )  # fmt: skip
    overhead = feet_overhead(s, over)
    return Candidate(Skill.BACKWARD_ROLL, over.start_s, over.end_s, overhead, max(over.end_s, overhead), over.facing, Side.NONE, fit)


def feet_overhead(s: Signals, over: Over) -> float:
    """When the feet pass over the head: their middle passes the shoulders' in the direction of travel, trunk upside down."""
    ankle, shoulder = (pair_mean(s.p(part)[..., 0]) for part in ("ankle", "shoulder"))
    ahead = -(ankle - shoulder) * over.facing  # rolling back, one who faces right travels left
    for i in range(over.first, over.last + 1):
        if ahead[i] > 0 and s.trunk_turn[i] is not None:
            if i and np.isfinite(ahead[i - 1]) and ahead[i - 1] < 0:
                return float(s.t[i] - ahead[i] / (ahead[i] - ahead[i - 1]) * (s.t[i] - s.t[i - 1]))
            return float(s.t[i])
    return float(s.t[(over.first + over.last) // 2])


def _shoulder_stand(s: Signals, over: Over) -> Candidate | None:
    if over.hold is None:
        return None
    a, b = over.hold
    fit = min(
        margin(over.shoulders, SHOULDERS_DOWN, -0.2), margin(abs(over.turned), 180.0, -60), margin(over.feet, HOLD_FEET, 0.2), margin(over.apart, SCISSORS, -0.2), margin(over.held_s, HOLD_S - 0.07, 0.07),
    )  # fmt: skip
    return Candidate(Skill.SHOULDER_STAND, over.start_s, over.end_s, s.t[a], s.t[b], over.facing, Side.NONE, fit)
