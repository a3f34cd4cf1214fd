"""The frames in which somebody was lost, looked at again from both sides of the gap, now that it is known who the others are.

A first pass loses a person to a neighbour, or stops, where two stand close. Here the others' ways are known for the whole
stretch, so they are painted out better, and what everybody wears is known, so that a step onto somebody else is refused.
What is not clearly this person stays a gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.landmarks.claims import likeness
from pipeline.landmarks.clean import runs
from pipeline.landmarks.crops import Crop, between
from pipeline.landmarks.join import Person
from pipeline.landmarks.looks import Wardrobe, clothes
from pipeline.landmarks.motion import WIDEN, Motion
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import CORE, MAIN, limbs_apart, torso
from pipeline.landmarks.sight import look
from pipeline.landmarks.spool import Spool

SOMEBODY_ELSE = -0.5  # of log-likelihood: clothes that fit another so much better
STRANGE = 1.8  # or fit so much worse than usual
ONE_BODY = 0.35  # torsos, mean over the main joints, to a neighbour
STEP, STEP_S = 0.5, 6.0  # torsos, and torsos a second, that the joints may be from where they were expected
BLIND_S = 0.5  # seconds without a sight after which seeking ends
TURNS = (0.0, 0.35, -0.35)  # radians: a body that folds up turns faster than its crop
BEFORE_S = 0.12  # the movement carried into a gap is read from so long before it
LEAST_PEAK = 0.35  # mean height of the main joints' heatmaps
AGREE = 0.35  # torsos between the two sides' bodies


def fill_gaps(net: LandmarkNet, spool: Spool, people: Sequence[Person], k: int, worn: Sequence[Wardrobe | None], t: np.ndarray) -> int:
    """Seek person `k` in the frames without a sight; puts in what was found. Returns the number of frames won."""
    person, won = people[k], 0
    others = [p for p in people if p is not person]
    for start, stop in runs(~person.valid):
        sides: list[dict[int, tuple[Guess, np.ndarray]]] = []
        if start > 0:
            sides.append(_seek(net, spool, person, others, k, worn, t, range(start, stop)))
        if stop < len(t):
            sides.append(_seek(net, spool, person, others, k, worn, t, range(stop - 1, start - 1, -1)))
        for row in range(start, stop):
            found = [s[row] for s in sides if row in s]
            if not found:
                continue
            if len(found) == 2:
                size = max(float(torso(found[0][0].xy)), 1.0)
                if limbs_apart(found[0][0].xy, found[1][0].xy, size) > AGREE:
                    own = worn[k]
                    fits = [own.fit(seen) if own is not None else guess.peak[MAIN].mean() for guess, seen in found]
                    found = found if fits[1] >= fits[0] else found[::-1]
                else:
                    found = sorted(found, key=lambda f: float(f[0].peak[MAIN].mean()))
            guess, seen = found[-1]
            person.take(row, guess.xy, guess.z, guess.visibility, guess.peak)
            person.presence[row], person.chosen[row] = guess.presence, SOUGHT
            if person.clothes is not None:
                person.clothes[row] = seen
            if len(found) == 2:
                person.disagreement[row] = np.linalg.norm(found[0][0].xy - found[1][0].xy, axis=1)
            won += 1
    return won


SOUGHT = 10_000  # in `chosen`: found by seeking, not on a pass


def _seek(
    net: LandmarkNet,
    spool: Spool,
    person: Person,
    others: Sequence[Person],
    k: int,
    worn: Sequence[Wardrobe | None],
    t: np.ndarray,
    rows: range,
) -> dict[int, tuple[Guess, np.ndarray]]:
    """What is seen of a person on the way from one side of a gap, row by row."""
    last = rows[0] - rows.step
    body, crop = person.xy[last], body_crop(person.xy[last])
    if not crop.side > 0:
        return {}
    motion = Motion()
    earlier = [
        r for r in range(last, last - 12 * rows.step, -rows.step) if 0 <= r < len(t) and person.valid[r] and abs(t[r] - t[last]) <= BEFORE_S
    ]
    if len(earlier) > 1:
        then = body_crop(person.xy[earlier[-1]])
        motion.learn(then, crop, abs(float(t[last] - t[earlier[-1]])), k=1.0)
    body_at, seen_t, before = crop, float(t[last]), float(t[last])
    out: dict[int, tuple[Guess, np.ndarray]] = {}
    for row in rows:
        crop = motion.carry(crop, abs(float(t[row]) - before))
        before = float(t[row])
        around = [o.xy[row] for o in others if o.valid[row]]
        expected = crop.to_picture(Crop(body_at.x, body_at.y, crop.side, body_at.angle).to_crop(body))
        image = spool[spool.first + row]
        sight = _sight(net, image, crop, around, expected, k, worn, before - seen_t)
        if sight is not None:
            now = between(sight[0].centre, sight[0].top)
            motion.learn(body_at, now, max(abs(before - seen_t), 1e-3))
            crop, body, body_at, seen_t = now, sight[0].xy, now, before
            out[row] = sight
            continue
        if abs(before - seen_t) > BLIND_S:
            break
        motion.fade()
        crop = Crop(crop.x, crop.y, min(crop.side * WIDEN, 1.6 * max(spool.size)), crop.angle)
    return out


def _sight(
    net: LandmarkNet,
    image: np.ndarray,
    crop: Crop,
    around: list[np.ndarray],
    expected: np.ndarray,
    k: int,
    worn: Sequence[Wardrobe | None],
    unseen_s: float,
) -> tuple[Guess, np.ndarray] | None:
    """Person `k` and the colours worn, in the crop or in one turned a little; None where nobody or somebody else is seen."""
    for turn in TURNS:
        guess, _ = look(net, image, replace(crop, angle=crop.angle + turn), around, expected)
        if guess is not None:
            seen = clothes(image, guess.xy)
            if _is_this_one(guess, seen, expected, around, k, worn, abs(unseen_s)):
                return guess, seen
    return None


def _is_this_one(
    guess: Guess, seen: np.ndarray, expected: np.ndarray, around: list[np.ndarray], k: int, worn: Sequence[Wardrobe | None], unseen_s: float
) -> bool:
    if guess.peak[MAIN].mean() < LEAST_PEAK:
        return False
    size = max(float(torso(guess.xy)), float(torso(expected)), 1.0)
    if limbs_apart(guess.xy, expected, size) > STEP + STEP_S * unseen_s:
        return False
    if any(limbs_apart(guess.xy, o, size) < ONE_BODY for o in around):
        return False
    own = worn[k]
    if own is None:
        return True
    return bool(likeness(seen, k, list(worn)) > SOMEBODY_ELSE and not own.fit(seen) < own.usual - STRANGE)


def body_crop(body: np.ndarray) -> Crop:
    """The crop of a body (33, 2) by its hips and its farthest point, turned with the trunk."""
    middle = body[CORE[2:]].mean(0)
    up = body[CORE[:2]].mean(0) - middle
    reach = float(np.linalg.norm(body - middle, axis=1).max())
    return between(middle, middle + up / max(float(np.hypot(*up)), 1e-6) * reach)
