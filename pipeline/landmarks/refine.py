"""A second look at the athlete where something may be measured: at the mirror image of a crop aligned with the trunk.

The passes' crops follow the movement and lie a little behind or askew, and both directions mostly share one look. The mirrored
look is a second opinion, of another training of the same network where that is installed: the mean of the two lies nearer to the
joints (by the same model, back knee and hip of a lunge by a sixth, the tucked knee by a tenth on drawn clips; by the other one,
stands and tucked knees by a tenth more), and where they differ is a doubt. More looks, turned or of another size, add nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.landmarks.crops import Crop, between, cut
from pipeline.landmarks.hide import paint_out
from pipeline.landmarks.join import Person
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import CORE, MAIN, limbs_apart, torso
from pipeline.landmarks.sides import as_named
from pipeline.landmarks.sight import any_near, recognised
from pipeline.landmarks.spool import Spool

SAME_BODY = 0.5  # torsos: mean distance of the joints beyond which the mirrored look shows somebody else, or nobody
STEADY = 0.1  # torsos: while the main joints go less far on average, one look stands for its neighbours,
MOST_APART = 4  # frames from look to look then
SAME_POINT = 0.33  # torsos: a point further off is not averaged; one of the two looks has it on the wrong limb


Change = tuple[np.ndarray, ...]  # what a second look moved: points, depth, visibility, peak; and how far it was from what was known


def look_mirrored(net: LandmarkNet, spool: Spool, person: Person, others: Sequence[Person], rows: np.ndarray) -> None:
    """Look once more at `rows` (n,) in which the person was seen, and take the mean. Others are painted out of the crop.

    While she hardly moves, only one in a few frames is looked at, and those between are moved as the ones before and after were.
    """
    chosen = person.valid & rows & np.isfinite(person.xy).all(axis=(1, 2))
    looked, passed = spread(person.xy, chosen)
    changes = {row: _second_look(net, spool, person, others, row) for row in looked}
    for row, (before, after) in passed.items():
        one, other = changes[before], changes[after]
        if one is None or other is None:
            _second_look(net, spool, person, others, row)
        else:
            share = (row - before) / (after - before)
            _move(person, row, [(1 - share) * a + share * b for a, b in zip(one, other, strict=True)])


def spread(xy: np.ndarray, chosen: np.ndarray) -> tuple[list[int], dict[int, tuple[int, int]]]:
    """(those of the `chosen` (n,) rows to look at, the others each with the row looked at before and after it) of bodies (n, 33, 2)."""
    looked, passed = [], {}
    row, last = 0, len(chosen) - 1
    while row <= last:
        if not chosen[row]:
            row += 1
            continue
        looked.append(row)
        step = 1
        near = STEADY * max(float(torso(xy[row])), 1.0)
        while row + step <= last and step <= MOST_APART and chosen[row + step] and _moved(xy[row], xy[row + step]) < near:
            step += 1
        step = max(step - 1, 1)
        passed |= {row + k: (row, row + step) for k in range(1, step)}
        row += step
    return looked, passed


def _moved(before: np.ndarray, after: np.ndarray) -> float:
    """Mean distance that the main joints of a body (33, 2) went, in pixels; one whose limbs are named the other way round has moved."""
    return float(np.linalg.norm(after[MAIN] - before[MAIN], axis=1).mean())


def _second_look(net: LandmarkNet, spool: Spool, person: Person, others: Sequence[Person], row: int) -> Change | None:
    """Look once more at one row and take the mean; what that changed, None where nobody, or somebody else, was seen."""
    body = person.xy[row].copy()
    crop = aligned_crop(body)
    if not crop.side > 0:
        return None
    pixels = without_others(spool[person.first + row], crop, [o.xy[row] for o in others if o.valid[row]], body)
    guess = net.read(pixels, crop, mirrored=True)
    size = max(float(torso(body)), 1.0)
    if not recognised(guess) or limbs_apart(guess.xy, body, size) >= SAME_BODY:
        return None
    before = [values[row].copy() for values in (person.xy, person.z, person.visibility, person.peak)]
    distance = mix(person, row, guess, size)
    now = (values[row] for values in (person.xy, person.z, person.visibility, person.peak))
    return *(b - a for a, b in zip(before, now, strict=True)), distance


def _move(person: Person, row: int, change: Sequence[np.ndarray]) -> None:
    """Change one row as a second look would have."""
    *moved, distance = change
    for values, by in zip((person.xy, person.z, person.visibility, person.peak), moved, strict=True):
        values[row] += by
    for share in (person.visibility[row], person.peak[row]):
        np.clip(share, 0.0, 1.0, out=share)
    person.disagreement[row] = np.fmax(person.disagreement[row], distance)


def aligned_crop(body: np.ndarray) -> Crop:
    """The crop of a body (33, 2) turned so that its trunk points up."""
    middle = body[CORE[2:]].mean(0)
    up = body[CORE[:2]].mean(0) - middle
    reach = float(np.linalg.norm(body - middle, axis=1).max())
    return between(middle, middle + up / max(float(np.hypot(*up)), 1e-6) * reach)


def without_others(image: np.ndarray, crop: Crop, others: list[np.ndarray], own: np.ndarray, *, wide: float = 1.0) -> np.ndarray:
    """(256, 256, 3) the crop of a picture with the other bodies painted out, limbs `wide` times as thick, but not where `own` is."""
    pixels = cut(image, crop)
    around = any_near(others, crop)
    return paint_out(pixels, around, crop.to_crop(own), wide=wide) if around else pixels


def mix(person: Person, row: int, guess: Guess, size: float) -> np.ndarray:
    """Take the mean of what is known in a row and a second look. Limbs named the other way round are turned back first; a point
    far off stays as it is, and their distance is kept as its doubt. Gives that distance (33,), in pixels."""
    mine = person.xy[row]
    order = as_named(mine, guess.xy, size)
    distance = np.linalg.norm(mine - guess.xy[order], axis=1)
    share = np.where(distance < SAME_POINT * size, 0.5, 0.0)
    person.xy[row] = mine + share[:, None] * (guess.xy[order] - mine)
    for own, seen in ((person.z[row], guess.z), (person.visibility[row], guess.visibility), (person.peak[row], guess.peak)):
        own += share * (seen[order] - own)
    person.disagreement[row] = np.fmax(person.disagreement[row], distance)
    return distance
