"""Passes into people: for each person found, the best chain of passes, and the passes that agree made one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.landmarks.chain import AT_SIGHTING, SAME, Passes, away, best_chain, parted
from pipeline.landmarks.paths import CORE, Path, limbs_apart, torso
from pipeline.landmarks.people import Sighting
from pipeline.landmarks.sides import exchanged
from pipeline.landmarks.track import N

LONG_PASS = 0.25  # share of a stretch's frames that a pass must have looked at to stand for a person by itself
SAME_POINT = 0.2  # torsos: two passes' points nearer than this are averaged, else the better one stands
STEADY_POINT = 1.5  # what each torso that a point would jump takes from its heatmap's peak, where two passes differ
CLOTHES, MOST_LIKE = 0.5, 2.0  # what clothes that fit better by one (log-likelihood) are worth in a frame, and at most
KNOWN = 0.85  # share of a pass's frames in which somebody is known there, above which it stands for nobody new
ONE = 0.9  # share of the frames of both in which two chains are on one body, to be one person
TOLD = 0.3  # how much clothes must fit better or worse to tell whose a find is


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
    looked: np.ndarray | None = None  # (n,) bool: seen in this frame, not filled in between
    clothes: np.ndarray | None = None  # (n, 26, 3) colours worn, see `looks`
    sure: np.ndarray | None = None  # (n, 33) bool: two more looks saw the point there, see `doubts`

    def take(self, i: int, xy: np.ndarray, z: np.ndarray, visibility: np.ndarray, peak: np.ndarray) -> None:
        """Put what was seen in row i."""
        self.xy[i], self.z[i], self.visibility[i], self.peak[i] = xy, z, visibility, peak
        if self.looked is not None:
            self.looked[i] = True

    def lose(self, rows: np.ndarray | slice) -> None:
        """Forget some frames: it was somebody else."""
        self.chosen[rows], self.presence[rows] = -1, 0.0
        for values in (self.xy, self.z, self.visibility, self.peak, self.disagreement, self.clothes):
            if values is not None:
                values[rows] = np.nan
        for flags in (self.looked, self.sure):
            if flags is not None:
                flags[rows] = False

    def add(self, other: Person) -> None:
        """Take over the frames that only the other part of this person has."""
        rows = other.valid & ~self.valid
        for name in ("xy", "z", "visibility", "peak", "disagreement", "clothes", "looked", "presence", "chosen"):
            mine, theirs = getattr(self, name), getattr(other, name)
            if mine is not None and theirs is not None:
                mine[rows] = theirs[rows]

    @property
    def valid(self) -> np.ndarray:
        """(n,) bool: followed in this frame."""
        return self.chosen >= 0


def people_of(paths: list[Path], sightings: list[Sighting], t: np.ndarray) -> list[Person]:
    """Everybody followed in a stretch, each once, the most often found first. `t` (n,) seconds of its frames.

    Chains are made twice: where passes change from person to person, the clothes seen in the first ones tell who is who.
    """
    from pipeline.landmarks.bridges import bridge
    from pipeline.landmarks.claims import better, fits, settle, wardrobes

    if not paths:
        return []
    passes = Passes(paths, t)
    sightings = parted(passes, sightings)
    out: list[Person] = []
    known_by: list[tuple[list[Sighting], int | None]] = []  # sightings, or the pass, that each is known by
    for sighting in sorted(sightings, key=lambda s: -len(s.frames) * s.score):
        if any(_on(p.xy, p.first, sighting) >= 0.5 for p in out):
            continue
        chain = best_chain(passes, [sighting], sightings)
        more = [s for s in sightings if s is sighting or _on(_pick(passes, chain), passes.first, s) >= 0.5]
        if len(more) > 1:
            chain = best_chain(passes, more, sightings)
        person = _joined(paths, passes, chain)
        if person.valid.any() and not any(_same_person(person, p) for p in out):
            out.append(person)
            known_by.append((more, None))
    for k, path in enumerate(paths):  # who is close to someone else all the time has no find of their own
        seen = path.looked & path.valid
        known = np.any([_near(p.xy[seen], path.xy[seen]) for p in out], axis=0)
        if seen.sum() + path.spared < LONG_PASS * len(t) or np.mean(known) > KNOWN:
            continue
        person = _joined(paths, passes, best_chain(passes, [], sightings, seed=k))
        if person.valid.any() and not any(_same_person(person, p) for p in out):
            out.append(person)
            known_by.append(([], k))
    worn = wardrobes(out)
    fit = fits(passes.clothes, worn)
    for k, (own, seed) in enumerate(known_by):
        mine = worn[k]
        if mine is not None:
            like = np.clip(better(fit, k), -MOST_LIKE, MOST_LIKE)
            lack = _lack(fit[k], mine.usual)
            own, rivals = _told_apart(passes, sightings, own, like)
            out[k] = _joined(paths, passes, best_chain(passes, own, [*own, *rivals], seed=seed, like=CLOTHES * (like + lack)))
    if len(out) > 1:
        out = settle([p for p in out if p.valid.any()], t)
    bridge(out, paths, passes)
    return out


def _lack(fit: np.ndarray, usual: float) -> np.ndarray:
    """(m, n) how much worse the clothes on each pass fit than they mostly do, up to 0; where a body is folded up, no pass fits as usual.

    So each frame is judged by the pass that fits best there.
    """
    best = np.fmin(np.max(np.nan_to_num(fit, nan=-np.inf), axis=0), usual)
    return np.nan_to_num(np.clip(fit - best, -MOST_LIKE, 0.0), nan=0.0)


def _told_apart(passes: Passes, sightings: list[Sighting], own: list[Sighting], like: np.ndarray) -> tuple[list[Sighting], list[Sighting]]:
    """(this person's, others') sightings, look by look, by how like this person's the clothes are (m, n) of passes that are there."""
    mine: list[Sighting] = []
    theirs: list[Sighting] = []
    for sighting in sightings:
        parts: tuple[Sighting, Sighting] = Sighting(), Sighting()
        at, _ = away(passes, sighting)
        for number, found in zip(sighting.frames, sighting.found, strict=True):
            i = number - passes.first
            there = (at[:, i] < AT_SIGHTING) & (like[:, i] != 0)
            told = float(like[there, i].mean()) if there.any() else 0.0
            part = parts[0] if told > TOLD or (told > -TOLD and sighting in own) else parts[1]
            part.frames.append(number)
            part.found.append(found)
        mine += [parts[0]] if parts[0].frames else []
        theirs += [parts[1]] if parts[1].frames else []
    return mine, theirs


def _near(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """(n,) bool: two bodies (n, 33, 2) are one; False where either is unseen."""
    return limbs_apart(a, b, np.maximum(np.nan_to_num(torso(b), nan=1.0), 1.0)) < SAME


def _pick(passes: Passes, chain: np.ndarray) -> np.ndarray:
    xy = passes.xy[np.maximum(chain, 0), np.arange(len(chain))]
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
    return bool(_near(a.xy[both], b.xy[both]).mean() > ONE and both.sum() > 0.5 * min(a.valid.sum(), b.valid.sum()))


def _joined(paths: list[Path], passes: Passes, chain: np.ndarray) -> Person:
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
        passes.first, of("xy"), of("z"), of("visibility"), of("peak"), np.nan_to_num(of("presence")), np.full((n, N), np.nan), chain
    )
    person.looked = np.array([paths[j].looked[i] for i, j in enumerate(chain)]) & ~lost
    person.clothes = of("clothes")
    steps = np.array([p.step for p in paths])
    for i in np.flatnonzero(~lost):
        j = int(chain[i])
        others = [
            k
            for k in range(len(paths))
            if steps[k] != steps[j]
            and passes.valid[k, i]
            and passes.between[j, k, i] < SAME
            and not (paths[k].shared[i] or paths[j].shared[i])
        ]
        if others:
            other_index = min(others, key=lambda k: (not paths[k].looked[i], passes.between[j, k, i]))
            other = paths[other_index]
            if not other.looked[i]:
                continue
            if not paths[j].looked[i]:
                if passes.between[j, other_index, i] > SAME_POINT:
                    continue
                person.take(i, other.xy[i], other.z[i], other.visibility[i], other.peak[i])
                continue
            _blend(
                person, i, other.xy[i], other.z[i], other.visibility[i], other.peak[i], passes.torso[j, i], person.xy[i - 1] if i else None
            )
    return person


def _blend(
    person: Person, i: int, xy: np.ndarray, z: np.ndarray, visibility: np.ndarray, peak: np.ndarray, size: float, before: np.ndarray | None
) -> None:
    """Make one body of two views of a frame. Limbs that the two name the other way round are sorted out first."""
    mine = person.xy[i]
    order = np.arange(N)
    for left, right in exchanged(mine, xy, size):
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
    mine_worth, other_worth = person.peak[i].copy(), peak.copy()
    if before is not None and np.isfinite(before[0, 0]):  # a point does not jump
        mine_worth -= STEADY_POINT * np.linalg.norm(person.xy[i] - before, axis=1) / size
        other_worth -= STEADY_POINT * np.linalg.norm(xy - before, axis=1) / size
    weight = np.where(near, weight, (other_worth > mine_worth).astype(float))
    person.xy[i] += weight[:, None] * (xy - person.xy[i])
    for own, theirs in ((person.z[i], z), (person.visibility[i], visibility), (person.peak[i], peak)):
        own += weight * (theirs - own)
