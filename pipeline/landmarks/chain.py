"""Which pass is on a person at each frame: the best chain of passes through a stretch (Viterbi).

A pass earns its confidence and its agreement with where the person was found. It pays for limbs that grow, for jumps, and
for standing where someone else was found at the time. Changing to another pass, or finding the person again after a gap,
costs by how far away the other pass is: nobody flies.
"""

from __future__ import annotations

import warnings
from functools import cached_property
from itertools import pairwise

import numpy as np

from pipeline.landmarks.paths import CORE, MAIN, Path, limbs_apart, torso
from pipeline.landmarks.people import Sighting
from pipeline.landmarks.track import INDEX

SAME = 0.35  # torsos, mean over trunk and limbs: two passes nearer than this see one person
AT_SIGHTING, AT_RIVAL, ELSEWHERE = 0.3, 0.15, 0.8  # of the reach: on a person found; surely on a rival; surely not there
BONUS_SEED = 0.5
BONUS_FOUND, MALUS_ELSEWHERE, MALUS_RIVAL = 1.0, 2.0, 1.5
WORTH, CLEAR = 0.5, 0.45  # what a clear sight is worth; heatmap peak, presence and steadiness at which it is clear
LOST_VALUE, LOSE, REGAIN = 0.1, 0.5, 1.0
CHANGE, FLY, FLY_FREE = 0.3, 12.0, 1.0  # a change of pass; each torso between the two; torsos a second a lost person may move
JUMP_FREE, JUMP_PRICE = 6.0, 3.0  # torsos a second that a body may move; what each torso beyond costs
LONGER = 1.25  # a limb may look so much longer than it mostly does
FAR = 60.0
SEGMENTS = np.array(
    [
        (INDEX[f"{s}_{a}"], INDEX[f"{s}_{b}"])
        for s in ("left", "right")
        for a, b in (("hip", "knee"), ("knee", "ankle"), ("shoulder", "hip"), ("shoulder", "elbow"))
    ]
)


class Passes:
    """Arrays over m passes and n frames that every chain needs."""

    def __init__(self, paths: list[Path], t: np.ndarray) -> None:
        self.first, self.t = paths[0].first, t
        self.xy = np.stack([p.xy for p in paths])  # (m, n, 33, 2)
        self.valid = np.stack([p.valid for p in paths])
        self.clothes = np.stack([p.clothes for p in paths])  # (m, n, 26, 3)
        sizes = torso(self.xy)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # a pass that saw nothing
            own = np.nan_to_num(np.nanpercentile(sizes, 75, axis=1), nan=1.0)
        self.torso = np.fmax(np.nan_to_num(sizes, nan=0.0), 0.7 * own[:, None])
        clear = np.nan_to_num(np.stack([p.peak[:, MAIN].mean(1) * p.presence for p in paths]), nan=0.0) * _steady(self.xy)
        self.worth = WORTH * np.minimum(clear / CLEAR, 1)  # clear enough is enough: a clearer neighbour is still a neighbour
        speed = np.zeros(self.valid.shape)
        if len(t) > 1:
            speed[:, 1:] = limbs_apart(self.xy[:, 1:], self.xy[:, :-1], self.torso[:, 1:]) / np.diff(t)
        self.jump = JUMP_PRICE * np.maximum(np.nan_to_num(speed, nan=0.0) - JUMP_FREE, 0) * np.diff(t, prepend=t[:1] - 1 / 30)
        self.between = np.nan_to_num(limbs_apart(self.xy[:, None], self.xy[None], self.torso[:, None]), nan=np.inf)  # (m, m, n)
        self.middle = self.xy[:, :, CORE].mean(2)  # (m, n, 2)
        self.last = np.zeros(self.valid.shape, int)  # the last frame at which each pass saw the person
        for i in range(1, len(t)):
            self.last[:, i] = np.where(self.valid[:, i], i, self.last[:, i - 1])

    @cached_property
    def change(self) -> np.ndarray:
        """(n - 1, m, m) what it costs to go from one pass to another between a frame and the next."""
        before, after = self.between[:, :, :-1], self.between[:, :, 1:]
        cost = np.where(np.minimum(before, after) < SAME, CHANGE, np.minimum(CHANGE + FLY * np.maximum(before, after), FAR))
        rows = np.arange(len(self.valid))
        cost[rows, rows] = 0.0
        return np.ascontiguousarray(cost.transpose(2, 0, 1))

    @cached_property
    def regain(self) -> np.ndarray:
        """(n - 1, m, m) what it costs, beside REGAIN, to be found in the next frame on a pass after being lost since another."""
        rows, since = np.arange(len(self.valid))[:, None], self.last[:, :-1]
        gap_s = self.t[1:] - self.t[since]  # (m, n - 1)
        with np.errstate(invalid="ignore"):
            way = np.linalg.norm(self.middle[rows, since][:, None] - self.middle[None, :, 1:], axis=3)  # (m, m, n - 1)
            flown = np.nan_to_num(way / self.torso[rows, since][:, None], nan=9)
        cost = np.minimum(FLY * np.maximum(flown - SAME - FLY_FREE * gap_s[:, None], 0), FAR)
        return np.ascontiguousarray(cost.transpose(2, 0, 1))


def _steady(xy: np.ndarray) -> np.ndarray:
    """(m, n) 1 where limbs keep within the lengths they have in the same pass, towards 0 where one is far longer."""
    length = np.linalg.norm(xy[:, :, SEGMENTS[:, 0]] - xy[:, :, SEGMENTS[:, 1]], axis=3)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        usual = np.nanpercentile(length, 75, axis=1, keepdims=True)
        over = np.nan_to_num(np.nanmax(length / usual, axis=2) - LONGER, nan=0.0)
    return np.exp(-((np.maximum(over, 0) / 0.25) ** 2))


def best_chain(
    passes: Passes, own: list[Sighting], everyone: list[Sighting], *, seed: int | None = None, like: np.ndarray | None = None
) -> np.ndarray:
    """(n,) the pass that is on the person of the sightings `own`, or of the pass `seed`, at each frame, -1 where lost.

    like : (m, n) what each pass is worth more or less for what the person seen there wears.
    """
    m, n = passes.valid.shape
    value = _values(passes, own, everyone)
    if seed is not None:
        value[seed] += BONUS_SEED
    if like is not None:
        value = value + like
    best = np.empty((n, 2 * m))  # the first m: on a pass; the others: lost since that pass
    came = np.zeros((n, 2 * m), int)
    best[0] = np.r_[value[:, 0], np.full(m, LOST_VALUE - LOSE)]
    rows, on = np.arange(m), slice(0, m)
    change, regain = passes.change, passes.regain
    for i in range(1, n):
        kept = best[i - 1, on][:, None] - change[i - 1]
        found = best[i - 1, m:][:, None] - REGAIN - regain[i - 1]
        into = np.concatenate([kept, found])  # (2 m, m)
        came[i, on] = into.argmax(0)
        best[i, on] = into.max(0) + value[:, i] - passes.jump[:, i]
        stay, lose = best[i - 1, m:], best[i - 1, on] - LOSE
        came[i, m:] = np.where(lose > stay, rows, rows + m)
        best[i, m:] = np.maximum(stay, lose) + LOST_VALUE
    chain = np.empty(n, int)
    chain[-1] = int(best[-1].argmax())
    for i in range(n - 1, 0, -1):
        chain[i - 1] = came[i, chain[i]]
    return np.where(chain >= m, -1, chain)


def _values(passes: Passes, own: list[Sighting], everyone: list[Sighting]) -> np.ndarray:
    """(m, n) what it is worth to be on each pass; -inf where it saw nothing."""
    value = np.where(passes.valid, passes.worth, -1e6)
    mine = np.zeros(value.shape[1], bool)
    for sighting in own:
        sure = min(1.0, len(sighting.frames) / 3) * sighting.score
        looked = np.zeros(value.shape[1], bool)  # between looks a fast body is not where a straight line says
        looked[np.asarray(sighting.frames) - passes.first] = True
        off, known = away(passes, sighting)
        mine |= known
        value = value + sure * np.where(off < AT_SIGHTING, BONUS_FOUND, np.where(looked & (off > ELSEWHERE), -MALUS_ELSEWHERE, 0.0))
    for rival in everyone:
        if rival not in own and any(set(rival.frames) & set(o.frames) for o in own):
            off, _ = away(passes, rival)
            value = value - np.where((off < AT_RIVAL) & ~mine, MALUS_RIVAL, 0.0)
    return value


def parted(passes: Passes, sightings: list[Sighting]) -> list[Sighting]:
    """The sightings, each cut where it went over to somebody else: no pass that was on the person so far is there any longer.

    Looks are linked by where people are, and where two cross, the link may go to the other one; who was followed from frame to frame
    knows better. Looks at the border at which no pass was there stand by themselves.
    """
    out: list[Sighting] = []
    for sighting in sightings:
        rows = np.asarray(sighting.frames) - passes.first
        on = away(passes, sighting)[0][:, rows] < AT_SIGHTING  # (m, looks)
        begun = np.cumsum(passes.valid[:, rows], axis=1) <= 1  # (m, looks) seen here for the first time
        cuts, last, his = [0], 0, np.zeros(len(on), bool)
        for look in np.flatnonzero(on.any(0)):
            still = his & on[:, look]
            if his.any() and not still.any():
                cuts += sorted({last + 1, int(look)})
            his = still | (on[:, look] & begun[:, look]) if still.any() else on[:, look]
            last = int(look)
        for start, stop in pairwise([*cuts, len(rows)]):
            out.append(Sighting(sighting.frames[start:stop], sighting.found[start:stop]))
    return out


def away(passes: Passes, sighting: Sighting) -> tuple[np.ndarray, np.ndarray]:
    """((m, n) how far each pass is from where the person was found, in reaches, hips or shoulders, inf where unknown; (n,) known)."""
    frames = np.arange(passes.valid.shape[1]) + passes.first
    hips, shoulders = sighting.at(frames)
    reach = np.interp(frames, sighting.frames, [f.reach for f in sighting.found])
    off = np.maximum(
        np.linalg.norm(passes.xy[:, :, CORE[2:]].mean(2) - hips, axis=2),
        np.linalg.norm(passes.xy[:, :, CORE[:2]].mean(2) - shoulders, axis=2),
    )
    return np.nan_to_num(off / reach, nan=np.inf), np.isfinite(hips[:, 0])
