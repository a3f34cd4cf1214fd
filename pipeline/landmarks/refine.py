"""A second look at the athlete, in every frame from which something may be measured: at the mirror image of a crop aligned with the trunk.

The passes' crops follow the movement and lie a little behind or askew, and both directions mostly share one look. The mirrored
look is a second opinion, of another training of the same network where that is installed: the mean of the two lies nearer to the
joints (by the same model, back knee and hip of a lunge by a sixth, the tucked knee by a tenth on drawn clips; by the other one,
stands and tucked knees by a tenth more), and where they differ is a doubt. More looks, turned or of another size, add nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.landmarks.crops import Crop, between, cut
from pipeline.landmarks.follow import any_near, recognised
from pipeline.landmarks.hide import paint_out
from pipeline.landmarks.join import Person
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import CORE, limbs_apart, torso
from pipeline.landmarks.sides import as_named
from pipeline.landmarks.spool import Spool

SAME_BODY = 0.5  # torsos: mean distance of the joints beyond which the mirrored look shows somebody else, or nobody
SAME_POINT = 0.33  # torsos: a point further off is not averaged; one of the two looks has it on the wrong limb


def look_mirrored(net: LandmarkNet, spool: Spool, person: Person, others: Sequence[Person], rows: np.ndarray) -> None:
    """Look once more at each of `rows` (n,) in which the person was seen, and take the mean. Others are painted out of the crop."""
    for row in np.flatnonzero(person.valid & rows):
        body = person.xy[row]
        crop = aligned_crop(body)
        if not np.isfinite(body).all() or not crop.side > 0:
            continue
        pixels = without_others(spool[person.first + int(row)], crop, [o.xy[row] for o in others if o.valid[row]], body)
        guess = net.read(pixels, crop, mirrored=True)
        size = max(float(torso(body)), 1.0)
        if recognised(guess) and limbs_apart(guess.xy, body, size) < SAME_BODY:
            mix(person, int(row), guess, size)


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


def mix(person: Person, row: int, guess: Guess, size: float) -> None:
    """Take the mean of what is known in a row and a second look. Limbs named the other way round are turned back first; a point
    far off stays as it is, and their distance is kept as its doubt."""
    mine = person.xy[row]
    order = as_named(mine, guess.xy, size)
    distance = np.linalg.norm(mine - guess.xy[order], axis=1)
    share = np.where(distance < SAME_POINT * size, 0.5, 0.0)
    person.xy[row] = mine + share[:, None] * (guess.xy[order] - mine)
    for own, seen in ((person.z[row], guess.z), (person.visibility[row], guess.visibility), (person.peak[row], guess.peak)):
        own += share * (seen[order] - own)
    person.disagreement[row] = np.fmax(person.disagreement[row], distance)
