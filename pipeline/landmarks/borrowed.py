"""Legs borrowed from a neighbour: seen from the side, one leg hides the other, and the networks take somebody's who stands behind for it.

That lasts for seconds, from the first frame on, without a jump, and both looks agree: what tells it is that the neighbour is followed too,
and one of the neighbour's legs is the same. Then both networks look again with the neighbour painted out whole: the borrowed leg is not
held for the athlete's own, as it otherwise would be. If both now see it beside the other leg, it was borrowed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import takewhile

import numpy as np

from pipeline.landmarks.clean import runs
from pipeline.landmarks.join import Person
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import CORE, torso
from pipeline.landmarks.refine import aligned_crop, without_others
from pipeline.landmarks.sides import LEGS, as_named
from pipeline.landmarks.sight import recognised
from pipeline.landmarks.spool import Spool

JOINTS = LEGS[:, 1:3]  # knee and ankle of either side
ON_ANOTHERS, OWN_AWAY = 0.2, 0.35  # torsos, mean of knee and ankle, to a neighbour's leg: on it; the other leg not
FREE, TOGETHER = 0.25, 0.5  # torsos: so far the leg must be from the neighbour's in the new looks, and so near to the other leg
AGREE, SAME_BODY = 0.3, 0.3  # torsos between the two new looks' legs, and that trunk and other leg may be from where they were
CLEAR = 0.4  # height of the heatmaps of knee and ankle
WIDE = 1.4  # neighbours are painted so much thicker, or their shapes still look like legs
MOSTLY = 0.5  # share of such frames in a row that must turn out borrowed, or none was
HOLES = 3  # frames: rows nearer than this are in a row

Look = Callable[[int, np.ndarray], Iterable[Guess]]


def give_back(nets: tuple[LandmarkNet, LandmarkNet], spool: Spool, person: Person, others: Sequence[Person]) -> int:
    """Look again where a leg is on somebody else's, and put it where it is then seen, in place; the number of frames changed."""
    if not person.valid.any():
        return 0
    size = max(float(np.nanmedian(torso(person.xy))), 1.0)

    def look(row: int, own: np.ndarray) -> Iterator[Guess]:
        crop = aligned_crop(person.xy[row])
        around = [o.xy[row] for o in others if o.valid[row]]
        pixels = without_others(spool[person.first + row], crop, around, own, wide=WIDE)
        looks = (net.read(pixels, crop, mirrored=mirrored) for net, mirrored in zip(nets, (False, True), strict=True))
        return takewhile(recognised, looks)

    return settle(person, others, size, look)


def settle(person: Person, others: Sequence[Person], size: float, look: Look) -> int:
    """`give_back` with any look: `look(row, own)` gives what is seen where only `own` (33, 2) is kept, one guess from each network, and is
    asked for the second one only where the first one may do."""
    side = borrowed(person.xy, [np.where(o.valid[:, None, None], o.xy, np.nan) for o in others], size)
    changed = 0
    for start, stop in _in_a_row(side >= 0):
        rows = [int(r) for r in range(start, stop) if side[r] >= 0]
        freed, most_failed = {}, len(rows) - MOSTLY * len(rows)
        for k, row in enumerate(rows):
            looks = _seen(person, others, row, int(side[row]), size, look)
            if looks is not None:
                freed[row] = looks
            elif k + 1 - len(freed) >= most_failed:  # nothing will come of it: no further look
                break
        else:
            for row, looks in freed.items():
                _put(person, row, LEGS[side[row], 1:], looks)
            changed += len(freed)
    return changed


def borrowed(xy: np.ndarray, others: Sequence[np.ndarray], size: float) -> np.ndarray:
    """(n,) which leg, 0 left or 1 right, of (n, 33, 2) bodies is on somebody else's while the other is not; -1 for none."""
    off = np.full((len(xy), 2), np.inf)
    for other in others:
        off = np.fmin(off, _to_anothers(xy, other, size))
    nearer = off.argmin(1)
    at, other_at = off.min(1), off.max(1)
    complete = np.isfinite(xy).all((1, 2))
    return np.where(complete & (at < ON_ANOTHERS) & (other_at > OWN_AWAY), nearer, -1)


def _to_anothers(xy: np.ndarray, other: np.ndarray, size: float) -> np.ndarray:
    """(n, 2) torsos from either leg of (n, 33, 2) bodies to the nearer one of another's."""
    mine, theirs = xy[:, JOINTS], other[:, JOINTS]  # (n, 2, 2, 2)
    off = np.linalg.norm(mine[:, :, None] - theirs[:, None], axis=-1).mean(-1)  # (n, mine, theirs)
    return np.nan_to_num(off.min(2), nan=np.inf) / size


def _in_a_row(marked: np.ndarray) -> list[tuple[int, int]]:
    """(start, stop) of marked frames with no more than a few others between them."""
    out: list[tuple[int, int]] = []
    for start, stop in runs(marked):
        if out and start - out[-1][1] < HOLES:
            out[-1] = out[-1][0], stop
        else:
            out.append((start, stop))
    return out


def _seen(person: Person, others: Sequence[Person], row: int, side: int, size: float, look: Look) -> list[tuple[Guess, np.ndarray]] | None:
    """The two looks that see the leg beside the other one, each with how its points are named; None where they do not."""
    body = person.xy[row]
    own = body.copy()
    own[LEGS[side, 1:]] = own[LEGS[1 - side, 1:]]
    around = [o.xy[row] for o in others if o.valid[row]]
    rest = np.r_[CORE, JOINTS[1 - side]]
    looks: list[tuple[Guess, np.ndarray]] = []
    for guess in look(row, own):
        order = as_named(body, guess.xy, size)
        seen = guess.xy[order]
        kept = float(np.linalg.norm(seen[rest] - body[rest], axis=1).mean()) < SAME_BODY * size
        free = all(_to_anothers(seen[None], o[None], size)[0, side] > FREE for o in around)
        if not (kept and free and float(guess.peak[order][JOINTS[side]].min()) > CLEAR):
            return None
        looks.append((guess, order))
    if len(looks) < 2:
        return None
    bodies = [g.xy[order] for g, order in looks]
    agree = float(np.linalg.norm(bodies[0][JOINTS[side]] - bodies[1][JOINTS[side]], axis=1).max()) < AGREE * size
    mean = (bodies[0] + bodies[1]) / 2
    together = float(np.linalg.norm(mean[JOINTS[side]] - body[JOINTS[1 - side]], axis=1).mean()) < TOGETHER * size
    return looks if agree and together else None


def _put(person: Person, row: int, points: np.ndarray, looks: list[tuple[Guess, np.ndarray]]) -> None:
    """The mean of two looks at some points of a row, and how far they are apart."""
    (one, first), (other, second) = looks
    person.disagreement[row, points] = np.linalg.norm(one.xy[first][points] - other.xy[second][points], axis=1)
    for whole, a, b in (
        (person.xy, one.xy, other.xy), (person.z, one.z, other.z), (person.visibility, one.visibility, other.visibility),
        (person.peak, one.peak, other.peak),
    ):  # fmt: skip
        whole[row, points] = (a[first][points] + b[second][points]) / 2
