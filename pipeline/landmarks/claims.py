"""Who is who, by what they wear: two people followed cannot be one body, and nobody changes clothes.

Passes drift to a neighbour, mostly where the two stand close. Each person's wardrobe is learned from the frames in which
nobody else claims the same body; with it a frame says whose it is. A frame that two claim goes to the one whose clothes they are
(and whose way leads there, where the other one leaps), and a frame in somebody else's clothes is nobody's: lost,
not followed.
"""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.chain import SEGMENTS
from pipeline.landmarks.clean import runs
from pipeline.landmarks.exchanges import exchange
from pipeline.landmarks.join import Person
from pipeline.landmarks.looks import LEAST_FRAMES, Wardrobe, could_be_one, learn, size_of
from pipeline.landmarks.paths import CORE, limbs_apart, torso

ONE_BODY = 0.35  # torsos, mean over the main joints: nearer than this, two people claim one body
TELLING, AT_LAST = 0.15, 0.03  # of log-likelihood: clothes that fit one so much better tell whose they are, at first and in the end
EACH_OWN = 0.4  # where both see their own clothes so much better, they are on two bodies
LEAP, LEAP_FREE, LEAP_MOST = 0.5, 0.5, 3.0  # what each torso of a leap to a claimed body counts beside them, beyond so many, up to so many
STRANGER, STRANGER_FRAMES = 1.0, 5  # so much better they fit somebody else, over so many frames: it is somebody else
UNLIKE = 1.0  # and so much worse than they usually fit
APART_FRAMES = 0.1  # share of the shorter one's frames in which two parts of one person may be apart
SURE_FRAMES = 3
GO, FRAME_S = 2.5, 0.05  # torsos a second that a person may go unseen, for longer than from frame to frame
PURER, NOT_MINE = 2, 0.5  # times wardrobes are learned again, without frames that fit somebody else so much better
SHRUNKEN = 0.45  # of the length all limbs together mostly have
LEFT = 0.15  # share of a person's frames that must remain, or it was nobody


def wardrobes(people: list[Person]) -> list[Wardrobe | None]:
    """Everybody's wardrobe, from the frames in which nobody else claims the body.

    Frames in which the clothes are rather somebody else's are then left out, and it is learned again: who drifted wears two
    people's colours, and is told by the one whose colours are pure.
    """
    rows = []
    for person in people:
        alone = person.valid.copy()
        for other in people:
            if other is not person:
                alone &= ~_claimed(person, other)
        rows.append(alone if alone.sum() >= LEAST_FRAMES else person.valid)  # others were on this one, in turn
    known = [learn(p.clothes[r]) for p, r in zip(people, rows, strict=True)]
    fitted: list[dict[Wardrobe, np.ndarray]] = [{} for _ in people]  # mostly the same wardrobes again
    for _ in range(PURER):
        purer = []
        for k, person in enumerate(people):
            own = rows[k] & (better(fits(person.clothes, known, fitted[k]), k) > -NOT_MINE)
            again = learn(person.clothes[own]) if LEAST_FRAMES <= own.sum() < rows[k].sum() else None
            purer.append(again if again is not None else known[k])
        known = purer
    return known


def likeness(clothes: np.ndarray, k: int, known: list[Wardrobe | None]) -> np.ndarray:
    """(...,) how much better (..., 26, 3) clothes fit person `k` than whoever else they fit best; 0 where that cannot be told."""
    return np.broadcast_to(better(fits(clothes, known), k), clothes.shape[:-2])


def fits(clothes: np.ndarray, known: list[Wardrobe | None], fitted: dict[Wardrobe, np.ndarray] | None = None) -> list[np.ndarray | None]:
    """How well (..., 26, 3) clothes fit each wardrobe, (...,) each. `fitted` keeps what was computed, for the same clothes."""
    fitted = {} if fitted is None else fitted
    for wardrobe in known:
        if wardrobe is not None and wardrobe not in fitted:
            fitted[wardrobe] = wardrobe.fit(clothes)
    return [None if wardrobe is None else fitted[wardrobe] for wardrobe in known]


def better(fit: list[np.ndarray | None], k: int) -> np.ndarray:
    """(...,) of the fits of all: how much better person `k`'s is than the best of the others'; 0 where that cannot be told, a bare one
    where nobody's wardrobe is known."""
    own, others = fit[k], [f for i, f in enumerate(fit) if i != k and f is not None]
    if own is None or not others:
        return np.zeros(next((f.shape for f in fit if f is not None), ()))
    return np.nan_to_num(own - np.max(others, axis=0), nan=0.0)


def settle(people: list[Person], t: np.ndarray) -> list[Person]:
    """The same people, each body and frame with one of them at most; those of whom nothing is left are gone. Changes them in place."""
    had = {id(p): int(p.valid.sum()) for p in people}
    for last in (False, True):
        people = _round(people, had, t, at_last=last)
    if exchange(people):
        people = _round(people, had, t, at_last=True)
    return _merged(people, t)


def _round(people: list[Person], had: dict[int, int], t: np.ndarray, *, at_last: bool) -> list[Person]:
    people = _merged(people, t)
    known = wardrobes(people)
    for i, a in enumerate(people):
        for j in range(i):
            _settle_two(a, people[j], known[i], known[j], t, at_last=at_last)
    for k, person in enumerate(people):
        _drop_strangers(person, k, known)
        _drop_shrunken(person)
    return [p for p in people if p.valid.sum() > max(LEFT * had[id(p)], 2)]


def _merged(people: list[Person], t: np.ndarray) -> list[Person]:
    """Parts of one person put together: the same clothes and size, on one body or at different times, and near enough to have gone there."""
    people = sorted(people, key=lambda p: -int(p.valid.sum()))
    i = 0
    while i < len(people):
        for j in range(i + 1, len(people)):
            if _one_person(people[i], people[j], t):
                people[i].add(people.pop(j))
                i = -1  # begin again: more may fit now
                break
        i += 1
    return people


def _one_person(a: Person, b: Person, t: np.ndarray) -> bool:
    both = a.valid & b.valid
    if (both & ~_claimed(a, b)).sum() > APART_FRAMES * min(a.valid.sum(), b.valid.sum()):
        return False
    if not both.any():
        ra, rb = np.flatnonzero(a.valid), np.flatnonzero(b.valid)
        pairs = [(int(ra[ra < r].max()), int(r)) for r in rb if (ra < r).any() and not ((rb < r) & (rb > ra[ra < r].max())).any()]
        pairs += [(int(rb[rb < r].max()), int(r)) for r in ra if (rb < r).any() and not ((ra < r) & (ra > rb[rb < r].max())).any()]
        if not pairs:
            return False
        before, after = min(pairs, key=lambda p: p[1] - p[0])
        one, other = (a, b) if a.valid[before] else (b, a)
        size = max(float(np.nanpercentile(torso(a.xy), 75)), 1.0)
        way = float(np.linalg.norm(one.xy[before][CORE].mean(0) - other.xy[after][CORE].mean(0))) / size
        if way > ONE_BODY + GO * float(t[after] - t[before]):
            return False
    elif _claimed(a, b).sum() < SURE_FRAMES and (both.sum() > SURE_FRAMES):
        return False
    return could_be_one((a.clothes[a.valid], size_of(a.xy)), (b.clothes[b.valid], size_of(b.xy)))


def _claimed(a: Person, b: Person) -> np.ndarray:
    """(n,) bool: both are on one body."""
    size = np.fmax(np.fmax(np.nan_to_num(torso(a.xy)), np.nan_to_num(torso(b.xy))), 1.0)
    return np.nan_to_num(limbs_apart(a.xy, b.xy, size), nan=9.0) < ONE_BODY


def _settle_two(a: Person, b: Person, mine: Wardrobe | None, theirs: Wardrobe | None, t: np.ndarray, *, at_last: bool) -> None:
    """Give the frames in which two claim one body to the one whose clothes they are and whose way leads there."""
    for start, stop in runs(_claimed(a, b)):
        told = [_mean(mine.fit(p.clothes[start:stop]) - theirs.fit(p.clothes[start:stop])) if mine and theirs else 0.0 for p in (a, b)]
        if told[0] > EACH_OWN and told[1] < -EACH_OWN:  # two bodies close together, each in its own clothes
            continue
        sum_of = np.mean(told) + LEAP * (_leaps(b, start, stop, t) - _leaps(a, start, stop, t))
        if abs(sum_of) < (AT_LAST if at_last else TELLING):
            sum_of = a.valid.sum() - b.valid.sum() + 0.5 if at_last else 0.0
        if sum_of:
            (b if sum_of > 0 else a).lose(slice(start, stop))


def _mean(values: np.ndarray) -> float:
    """The mean of what is known, 0 where nothing is."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else 0.0


def _leaps(person: Person, start: int, stop: int, t: np.ndarray) -> float:
    """Torsos that the joints leap from outside some frames into them, at both ends together; across a gap too, further than one may go."""
    far = 0.0
    for end in (start, stop):
        before, after = np.flatnonzero(person.valid[:end])[-1:], np.flatnonzero(person.valid[end:])[:1] + end
        if len(before) and len(after):
            one, other = person.xy[before[0]], person.xy[after[0]]
            size = max(float(torso(one)), float(torso(other)), 1.0)
            free = LEAP_FREE + GO * max(float(t[after[0]] - t[before[0]]) - FRAME_S, 0.0)
            far += float(np.clip(limbs_apart(one, other, size) - free, 0.0, LEAP_MOST))
    return far


def _drop_strangers(person: Person, k: int, known: list[Wardrobe | None]) -> None:
    """Lose the frames in which the clothes are clearly somebody else's."""
    own = known[k]
    if own is None:
        return
    looked = np.flatnonzero(person.valid & np.isfinite(person.clothes).any((1, 2)))
    if len(looked) < STRANGER_FRAMES:
        return
    fit = fits(person.clothes[looked], known)
    lead = _smooth(better(fit, k))
    lack = _smooth(own.usual - np.nan_to_num(fit[k], nan=own.usual))
    strange = np.zeros(len(person.xy), bool)
    strange[looked] = (lead < -STRANGER) & (lack > UNLIKE)
    for i, row in enumerate(looked[:-1]):  # and what was filled in between
        if strange[row] and strange[looked[i + 1]]:
            strange[row : looked[i + 1]] = True
    person.lose(strange)


def _drop_shrunken(person: Person) -> None:
    """Lose the frames in which the whole body is far shorter than it mostly looks: a hand, a shadow or a child behind was taken for it.

    A tuck or a turn shortens some limbs, not all at once: of drawn athletes' it was never less than 0.54 (two benchmarks' tuning parts).
    """
    ends = person.xy[:, SEGMENTS]
    length = np.linalg.norm(ends[:, :, 0] - ends[:, :, 1], axis=2).sum(1)
    if np.isfinite(length).any():
        person.lose(np.nan_to_num(length, nan=np.inf) < SHRUNKEN * np.nanpercentile(length, 75))


def _smooth(values: np.ndarray) -> np.ndarray:
    from scipy.ndimage import median_filter

    return median_filter(values, size=STRANGER_FRAMES, mode="nearest")
