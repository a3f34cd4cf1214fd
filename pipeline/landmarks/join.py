"""Passes into people: which pass is on the person at each frame, and the passes that agree made one.

For each sighting, the best chain of passes through the stretch is found (Viterbi): a pass earns its confidence and its
agreement with where the person was found, and pays for jumps, for standing where someone else was found at the time, and
for changing to a pass that is somewhere else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.landmarks.paths import BODY, CORE, Path, apart, torso
from pipeline.landmarks.people import Sighting
from pipeline.landmarks.track import INDEX, N

SAME = 0.35  # torsos, mean of shoulders and hips: two passes nearer than this see one person
SAME_POINT = 0.2  # torsos: two passes' points nearer than this are averaged, else the better one stands
AT_SIGHTING, AT_RIVAL = 0.3, 0.15  # of the reach: nearer than this a pass is on a person found
BONUS_FOUND, MALUS_ELSEWHERE, MALUS_RIVAL = 1.0, 3.0, 1.5
LOST_VALUE, LOSE, REGAIN = 0.25, 0.5, 2.0
JUMP_FREE, JUMP_PRICE = 0.6, 3.0  # torsos a frame
LEGS = np.array([INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("hip", "knee", "ankle", "heel", "foot_index")]).reshape(2, -1)
ARMS = np.array([INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("shoulder", "elbow", "wrist", "pinky", "index", "thumb")]).reshape(
    2, -1
)


@dataclass(eq=False)
class Person:
    """One person over a stretch, working-size pixels; NaN where not followed."""

    first: int
    xy: np.ndarray  # (n, 33, 2)
    z: np.ndarray  # (n, 33)
    visibility: np.ndarray  # (n, 33)
    peak: np.ndarray  # (n, 33)
    presence: np.ndarray  # (n,)
    disagreement: np.ndarray  # (n, 33) working pixels between passes, NaN where only one saw the point
    chosen: np.ndarray  # (n,) index of the pass, -1 where lost

    @property
    def valid(self) -> np.ndarray:
        """(n,) bool: followed in this frame."""
        return self.chosen >= 0


def people_of(paths: list[Path], sightings: list[Sighting]) -> list[Person]:
    """Everybody followed in a stretch, each once, the most often found first."""
    if not paths:
        return []
    core = _Core(paths)
    out: list[Person] = []
    for sighting in sorted(sightings, key=lambda s: -len(s.frames) * s.score):
        if any(_on(p.xy, p.first, sighting) >= 0.5 for p in out):
            continue
        chain = _chain(core, [sighting], sightings)
        more = [s for s in sightings if s is sighting or _on(_pick(core, chain), core.first, s) >= 0.5]
        if len(more) > 1:
            chain = _chain(core, more, sightings)
        person = _joined(paths, core, chain)
        if person.valid.any() and not any(_same_person(person, p) for p in out):
            out.append(person)
    return out


class _Core:
    """Arrays over passes and frames that every chain needs."""

    def __init__(self, paths: list[Path]) -> None:
        self.first = paths[0].first
        self.xy = np.stack([p.xy for p in paths])  # (m, n, 33, 2)
        self.valid = np.stack([p.valid for p in paths])
        sizes = torso(self.xy)
        self.size = float(np.nanmedian(sizes)) if np.isfinite(sizes).any() else 1.0
        own = np.array([np.nanmedian(s) if np.isfinite(s).any() else self.size for s in sizes])
        self.torso = np.fmax(np.nan_to_num(sizes, nan=0.0), 0.7 * own[:, None])
        self.worth = np.nan_to_num(np.stack([p.peak[:, CORE].mean(1) * p.presence for p in paths]), nan=0.0)
        hips = self.xy[:, :, CORE[2:]].mean(2)
        jump = np.full(self.valid.shape, 0.0)
        jump[:, 1:] = np.nan_to_num(np.linalg.norm(np.diff(hips, axis=1), axis=2) / self.torso[:, 1:], nan=0.0)
        self.jump = JUMP_PRICE * np.maximum(jump - JUMP_FREE, 0)
        with np.errstate(invalid="ignore"):
            self.between = np.nan_to_num(apart(self.xy[:, None], self.xy[None], self.torso[:, None]), nan=np.inf)  # (m, m, n)


def _at(core: _Core, sighting: Sighting, within: float = AT_SIGHTING) -> tuple[np.ndarray, np.ndarray]:
    """((m, n) is the pass where the person was found, (n,) is anything known of that frame)."""
    frames = np.arange(core.valid.shape[1]) + core.first
    hips, shoulders = sighting.at(frames)
    known = np.isfinite(hips[:, 0])
    reach = np.interp(frames, sighting.frames, [f.reach for f in sighting.found])
    with np.errstate(invalid="ignore"):
        near = (np.linalg.norm(core.xy[:, :, CORE[2:]].mean(2) - hips, axis=2) < within * reach) & (
            np.linalg.norm(core.xy[:, :, CORE[:2]].mean(2) - shoulders, axis=2) < within * reach
        )
    return near & known, known


def _chain(core: _Core, own: list[Sighting], everyone: list[Sighting]) -> np.ndarray:
    """(n,) the pass that is on this person at each frame, -1 where lost."""
    m, n = core.valid.shape
    value = np.where(core.valid, core.worth, -np.inf)
    for sighting in own:
        near, _ = _at(core, sighting)
        looked = np.zeros(n, bool)
        looked[np.asarray(sighting.frames) - core.first] = True  # between looks a fast body is not where a straight line says
        value = value + np.where(near, BONUS_FOUND, np.where(looked, -MALUS_ELSEWHERE, 0.0))
    mine = np.zeros(n, bool)
    for sighting in own:
        mine |= _at(core, sighting)[1]
    rivals = [s for s in everyone if s not in own and any(_together(s, o) for o in own)]
    for rival in rivals:
        near, _ = _at(core, rival, AT_RIVAL)
        value = value - np.where(near & ~mine, MALUS_RIVAL, 0.0)
    best = np.full((m + 1, n), -np.inf)
    came = np.zeros((m + 1, n), int)
    best[:m, 0], best[m, 0] = value[:, 0], LOST_VALUE
    for i in range(1, n):
        switch = 0.1 + 4.0 * np.maximum(core.between[:, :, i] - SAME, 0)  # from pass to pass, both seen in this frame
        switch = np.where(np.isfinite(switch), switch, 6.0)
        np.fill_diagonal(switch, 0.0)
        step = best[:m, i - 1][:, None] - switch - core.jump[:, i][None]
        from_pass, from_lost = step.max(0), best[m, i - 1] - REGAIN
        came[:m, i] = np.where(from_pass >= from_lost, step.argmax(0), m)
        best[:m, i] = np.maximum(from_pass, from_lost) + value[:, i]
        lose = best[:m, i - 1] - LOSE
        came[m, i] = m if best[m, i - 1] >= lose.max(initial=-np.inf) else int(lose.argmax())
        best[m, i] = max(best[m, i - 1], lose.max(initial=-np.inf)) + LOST_VALUE
    chain = np.empty(n, int)
    chain[-1] = int(best[:, -1].argmax())
    for i in range(n - 1, 0, -1):
        chain[i - 1] = came[chain[i], i]
    return np.where(chain == m, -1, chain)


def _together(a: Sighting, b: Sighting) -> bool:
    """Both found in the same frame: two people."""
    return bool(set(a.frames) & set(b.frames))


def _pick(core: _Core, chain: np.ndarray) -> np.ndarray:
    xy = core.xy[np.maximum(chain, 0), np.arange(len(chain))]
    return np.where((chain >= 0)[:, None, None], xy, np.nan)


def _on(xy: np.ndarray, first: int, sighting: Sighting) -> float:
    """Share of the sighting's looks at which the body is where the person was found."""
    rows = np.asarray(sighting.frames) - first
    reach = np.array([f.reach for f in sighting.found])
    hips = np.linalg.norm(xy[rows][:, CORE[2:]].mean(1) - np.array([f.hips for f in sighting.found]), axis=1)
    shoulders = np.linalg.norm(xy[rows][:, CORE[:2]].mean(1) - np.array([f.shoulders for f in sighting.found]), axis=1)
    return float(np.mean((hips < AT_SIGHTING * reach) & (shoulders < AT_SIGHTING * reach)))


def _same_person(a: Person, b: Person) -> bool:
    both = a.valid & b.valid
    if not both.any():
        return False
    near = apart(a.xy[both], b.xy[both], np.maximum(torso(b.xy[both]), 1.0)) < SAME
    return bool(near.mean() > 0.7 and both.sum() > 0.5 * min(a.valid.sum(), b.valid.sum()))


def _joined(paths: list[Path], core: _Core, chain: np.ndarray) -> Person:
    """The chain's passes, each averaged with a pass of the other direction where that one agrees."""
    n = len(chain)
    rows = np.arange(n)
    lead = np.maximum(chain, 0)
    lost = chain < 0

    def of(name: str) -> np.ndarray:
        values = np.stack([getattr(p, name) for p in paths])[lead, rows].astype(float)
        values[lost] = np.nan
        return values

    person = Person(
        core.first, of("xy"), of("z"), of("visibility"), of("peak"), np.nan_to_num(of("presence")), np.full((n, N), np.nan), chain
    )
    steps = np.array([p.step for p in paths])
    for i in np.flatnonzero(~lost):
        j = int(chain[i])
        others = [k for k in range(len(paths)) if steps[k] != steps[j] and core.valid[k, i] and core.between[j, k, i] < SAME]
        if others:
            other = paths[min(others, key=lambda k: core.between[j, k, i])]
            _blend(
                person, i, other.xy[i], other.z[i], other.visibility[i], other.peak[i], core.torso[j, i], person.xy[i - 1] if i else None
            )
    return person


def _blend(
    person: Person, i: int, xy: np.ndarray, z: np.ndarray, visibility: np.ndarray, peak: np.ndarray, size: float, before: np.ndarray | None
) -> None:
    """Make one body of two views of a frame. Limbs that the two name the other way round are sorted out first."""
    mine = person.xy[i]
    order = np.arange(N)
    for left, right in (LEGS, ARMS):
        same = np.linalg.norm(mine[[*left, *right]] - xy[[*left, *right]], axis=1).mean()
        swapped = np.linalg.norm(mine[[*left, *right]] - xy[[*right, *left]], axis=1).mean()
        if same > 0.25 * size and swapped < 0.6 * same:
            order[left], order[right] = right, left
            if before is not None and np.isfinite(before[left[0], 0]):
                both = [*left, *right]
                keep = np.linalg.norm(mine[both] - before[both], axis=1).mean()
                turn = np.linalg.norm(mine[[*right, *left]] - before[both], axis=1).mean()
                if turn < keep:  # it is this one that has them the wrong way round
                    for values in (person.xy[i], person.z[i], person.visibility[i], person.peak[i]):
                        values[both] = values[[*right, *left]]
                    order[left], order[right] = left, right
    xy, z, visibility, peak = xy[order], z[order], visibility[order], peak[order]
    distance = np.linalg.norm(person.xy[i] - xy, axis=1)
    person.disagreement[i] = distance
    weight = (peak + 1e-3) / (peak + person.peak[i] + 2e-3)
    near = distance < SAME_POINT * size
    weight = np.where(near, weight, (peak > person.peak[i]).astype(float))
    person.xy[i] += weight[:, None] * (xy - person.xy[i])
    for own, theirs in ((person.z[i], z), (person.visibility[i], visibility), (person.peak[i], peak)):
        own += weight * (theirs - own)


__all__ = ["BODY", "Person", "people_of"]
