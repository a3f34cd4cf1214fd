"""Limbs in doubt, looked at again: a leg, an arm, shoulders or hips that jump, or that two looks put in different places.

Mostly it was put on the other limb, on somebody who stands behind, or on nothing, for a few frames; before and after it is right. Those
frames are looked at once more, by both networks, in a crop of the body as it should be there (limbs in doubt carried on a straight
line between the frames around), where the other people are painted out and the wrong limb is not held for the athlete's own. What
is then seen of each limb, in either look, and what was seen before are readings of the frame, with the sides as named or the other
way round. Those are taken with which the limbs move least, at a price for unclear heatmaps and for limbs longer than usual
(Viterbi, over each pair by itself). Nothing is made up: each point was seen. Who carried a limb on without a look would hide
that nobody knows where it is.

On 240 drawn clips 354 frames came right by looking again at legs and arms and 19 went wrong, of 51,025; hips and
shoulders, looked at in 18 of the clips, brought another 23.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np

from pipeline.landmarks.clean import drop_wild, runs, sort_sides
from pipeline.landmarks.join import Person
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import CORE, torso
from pipeline.landmarks.refine import aligned_crop, without_others
from pipeline.landmarks.short_gaps import look_between
from pipeline.landmarks.sides import ARMS, LEGS, as_named
from pipeline.landmarks.sight import recognised
from pipeline.landmarks.spool import Spool


@dataclass(frozen=True)
class Pair:
    """Legs, arms, hips or shoulders: what is read together, and one way or the other round."""

    points: np.ndarray  # (2, k) landmarks of the left and the right side; the first ones are joints
    joints: int
    roots: np.ndarray | None = None  # (2,) what a limb hangs on

    @property
    def main(self) -> np.ndarray:
        """(2, joints) landmarks by which a reading is judged."""
        return self.points[:, : self.joints]


PAIRS = (
    Pair(np.stack(LEGS)[:, :1], 1),
    Pair(np.stack(ARMS)[:, :1], 1),
    Pair(np.stack(LEGS)[:, 1:], 2, np.stack(LEGS)[:, 0]),
    Pair(np.stack(ARMS)[:, 1:], 2, np.stack(ARMS)[:, 0]),
)
JUMP, DOUBT = 0.9, 0.5  # torsos from frame to frame, and between two looks, from which a limb is in doubt
BETWEEN = 12  # frames: of two jumps nearer than this one leads away and one back
NEAREST = 4  # frames to an undoubted sight, from which a limb is carried on; nearer to a gap, a jump puts all up to it in doubt
REST = 0.3  # torsos that the trunk may be from where it was, in a look that counts
AVERAGED, SAME = 0.33, 0.2  # torsos: two looks nearer than this are averaged too; they see the point in the same place
NEW, UNCLEAR = 0.05, 0.3  # price of a sight other than the one before, and of a heatmap without a peak
LONG, LONGER = 0.5, 1.2  # price of each usual length of a limb beyond so many

Values = list[np.ndarray]  # depth, visibility and peak of some points


def look_at_doubts(nets: tuple[LandmarkNet, LandmarkNet], spool: Spool, person: Person, others: Sequence[Person], t: np.ndarray) -> None:
    """Look into a person's short gaps and again where limbs are in doubt, and set them right; sides are sorted. `t` (n,) seconds."""
    if not person.valid.any():
        return
    size = max(float(np.nanmedian(torso(person.xy))), 1.0)
    values = [person.z, person.visibility, person.peak]

    def look(row: int, body: np.ndarray) -> list[Guess]:
        crop = aligned_crop(body)
        if not crop.side > 0:
            return []
        pixels = without_others(spool[person.first + row], crop, [o.xy[row] for o in others if o.valid[row]], body)
        return [g for g in (nets[0].read(pixels, crop), nets[1].read(pixels, crop, mirrored=True)) if recognised(g)]

    look_between(person, others, size, look)
    sort_sides(person.xy, size, *values, person.disagreement)
    person.sure = settle(person.xy, t, size, person.disagreement, values, look)


def doubted(xy: np.ndarray, t: np.ndarray, disagreement: np.ndarray, size: float) -> np.ndarray:
    """(n, 4) bool: frames in which each of PAIRS, of (n, 33, 2) points, should be looked at again."""
    wild = drop_wild(xy, t, size)
    with np.errstate(invalid="ignore"):
        jumps = np.linalg.norm(np.diff(xy, axis=0), axis=2) > JUMP * size
        wild |= disagreement > DOUBT * size
    seen = _seen(xy)
    out = np.zeros((len(xy), len(PAIRS)), bool)
    for column, pair in enumerate(PAIRS):
        main = pair.main.ravel()
        out[:, column] = (wild | ~np.isfinite(xy[..., 0]))[:, main].any(1)
        jumped = np.flatnonzero(jumps[:, main].any(1))
        out[jumped, column] = out[jumped + 1, column] = True
        for away, back in pairwise(jumped):
            if back - away <= BETWEEN:
                out[away + 1 : back + 1, column] = True
        for start, stop in runs(seen):
            inside = jumped[(jumped >= start) & (jumped < stop - 1)]
            if len(inside) and inside[0] - start < NEAREST:
                out[start : inside[0] + 1, column] = True
            if len(inside) and stop - inside[-1] - 1 <= NEAREST:
                out[inside[-1] + 1 : stop, column] = True
    return out & seen[:, None]


def expected(xy: np.ndarray, doubt: np.ndarray) -> np.ndarray:
    """(n, 33, 2) the body with limbs in doubt carried on a straight line between the nearest frames without doubt."""
    out = xy.copy()
    for column, pair in enumerate(PAIRS):
        points = pair.points.ravel()
        sure = np.flatnonzero(~doubt[:, column] & np.isfinite(xy[:, points, 0]).all(1))
        for i in np.flatnonzero(doubt[:, column]):
            near = [int(r) for r in (*sure[sure < i][-1:], *sure[sure > i][:1])]
            if len(near) == 2 and near[1] - near[0] > 2 * NEAREST:
                near = [min(near, key=lambda r: abs(r - i))]
            if near and (len(near) == 2 or abs(near[0] - i) <= NEAREST):
                a, b = near[0], near[-1]
                out[i, points] = xy[a, points] + (i - a) / max(b - a, 1) * (xy[b, points] - xy[a, points])
    return out


def settle(
    xy: np.ndarray,
    t: np.ndarray,
    size: float,
    disagreement: np.ndarray,
    values: Values,
    look: Callable[[int, np.ndarray], list[Guess]],
) -> np.ndarray:
    """Look again at limbs in doubt and set them right, in place. (n, 33) bool: points that two more looks saw in that place.

    xy (n, 33, 2) with its sides sorted, `values` and `disagreement` (n, 33); `look(row, body)` gives what is seen, at most twice, of
    a body that should be there.
    """
    doubt = doubted(xy, t, disagreement, size)
    sure = np.zeros(xy.shape[:2], bool)
    bodies = expected(xy, doubt)
    seen_at_all = _seen(xy)
    seen: dict[int, list[Guess]] = {}
    for row in np.flatnonzero(doubt.any(1)):
        body = bodies[row]
        looks = look(int(row), body) if np.isfinite(body).all() else []
        seen[int(row)] = [_named(body, g, size) for g in looks if np.linalg.norm(g.xy[CORE] - body[CORE], axis=1).mean() < REST * size]
    for column, pair in enumerate(PAIRS):
        usual = _usual(xy, pair)
        for start, stop in runs(seen_at_all):
            for first, last in runs(doubt[start:stop, column]):
                rows = range(max(start + first - 1, start), min(start + last + 1, stop))
                readings = {r: _readings(xy[r], [v[r] for v in values], seen.get(r, []), pair, size) for r in rows}
                for r, best in _smoothest({r: q for r, q in readings.items() if q}, xy, pair, usual, size).items():
                    if not best.old:
                        xy[r][pair.points], disagreement[r][pair.points] = best.points, best.apart
                        for whole, part in zip(values, best.values, strict=True):
                            whole[r][pair.points] = part
                    sure[r][pair.points] = best.sure
    return sure


@dataclass(frozen=True)
class _Reading:
    """One way to see both sides of a pair in a frame: (2, k) points."""

    points: np.ndarray  # (2, k, 2)
    values: Values
    apart: np.ndarray  # (2, k) pixels to the farther of the looks
    sure: np.ndarray  # (2, k) bool: both looks saw it there
    old: bool  # as it was
    price: float


def _readings(body: np.ndarray, values: Values, looks: list[Guess], pair: Pair, size: float) -> list[_Reading]:
    """Each limb as it was, as either look saw it, or as the mean of looks that are near each other; sides as named and exchanged."""
    limbs, main = pair.points, pair.joints
    sights = [(body[limbs], [v[limbs] for v in values])]
    sights += [(g.xy[limbs], [g.z[limbs], g.visibility[limbs], g.peak[limbs]]) for g in looks]
    if len(looks) == 2 and (np.linalg.norm(sights[1][0] - sights[2][0], axis=-1)[:, :main] < AVERAGED * size).all():
        sights.append(((sights[1][0] + sights[2][0]) / 2, [(a + b) / 2 for a, b in zip(sights[1][1], sights[2][1], strict=True)]))
    out = []
    for left, right, turned in product(range(len(sights)), range(len(sights)), (0,) if pair.roots is None else (0, 1)):
        points = np.stack([sights[left][0][turned], sights[right][0][1 - turned]])
        if not np.isfinite(points[:, :main]).all():
            continue
        of = [np.stack([a[turned], b[1 - turned]]) for a, b in zip(sights[left][1], sights[right][1], strict=True)]
        beside = [g.xy[limbs][[turned, 1 - turned]] for g in looks]
        apart = np.max([np.linalg.norm(points - b, axis=-1) for b in beside], axis=0) if beside else np.full(limbs.shape, np.nan)
        sure = (apart < SAME * size) & (len(looks) == 2)
        price = NEW * (((left > 0) + (right > 0)) / 2 + turned) + UNCLEAR * float((1 - np.nan_to_num(of[2][:, :main])).mean())
        out.append(_Reading(points, of, apart, sure, left == right == turned == 0, price))
    return out


def _smoothest(readings: dict[int, list[_Reading]], xy: np.ndarray, pair: Pair, usual: np.ndarray, size: float) -> dict[int, _Reading]:
    """The reading of each row with which the limbs move least."""
    if not readings:
        return {}
    rows = list(readings)
    places = [np.stack([q.points[:, : pair.joints] for q in readings[r]]) for r in rows]  # (m, 2, joints, 2)
    prices = [np.array([q.price + _too_long(q, pair, xy[r], usual) for q in readings[r]]) for r in rows]
    total, came = prices[0], [np.zeros(len(prices[0]), int)]
    for i in range(1, len(rows)):
        into = total + np.linalg.norm(places[i][:, None] - places[i - 1], axis=-1).mean((-1, -2)) / size  # (now, before)
        came.append(into.argmin(1))
        total = into.min(1) + prices[i]
    out, at = {}, int(total.argmin())
    for i in range(len(rows) - 1, -1, -1):
        out[rows[i]] = readings[rows[i]][at]
        at = int(came[i][at])
    return out


def _usual(xy: np.ndarray, pair: Pair) -> np.ndarray:
    """(2, 2) how long upper and lower limb of either side mostly look; no end of it for hips and shoulders, which hang on nothing."""
    if pair.roots is None:
        return np.full((2, 2), np.inf)
    length = np.linalg.norm(xy[:, pair.main] - xy[:, np.c_[pair.roots, pair.main[:, :1]]], axis=-1)
    length = length[np.isfinite(length).all((1, 2))]
    return np.percentile(length, 75, axis=0) if len(length) else np.full((2, 2), np.inf)


def _too_long(reading: _Reading, pair: Pair, body: np.ndarray, usual: np.ndarray) -> float:
    if pair.roots is None:
        return 0.0
    ends = np.concatenate([body[pair.roots][:, None], reading.points[:, :2]], axis=1)  # (2, 3, 2)
    longer = np.linalg.norm(np.diff(ends, axis=1), axis=-1) / np.maximum(usual, 1e-6) - LONGER
    return LONG * float(np.maximum(np.nan_to_num(longer), 0).mean())


def _seen(xy: np.ndarray) -> np.ndarray:
    """(n,) bool: the body was followed there."""
    return np.isfinite(xy[:, CORE, 0]).any(1)


def _named(body: np.ndarray, guess: Guess, size: float) -> Guess:
    """The guess with its sides named as the body's."""
    order = as_named(body, guess.xy, size)
    return Guess(guess.xy[order], guess.z[order], guess.visibility[order], guess.peak[order], guess.presence, guess.centre, guess.top)
