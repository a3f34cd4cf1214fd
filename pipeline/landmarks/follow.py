"""Following everybody in a stretch at once with the landmark model alone, each on a crop of their own.

The crop of the next frame comes from this frame's steering points, carried on by the movement so far: the model bears a
crop turned against the body by 12 degrees, and a cartwheel turns as much from frame to frame. In each crop the others are
painted out, and of two that end up on one body the one whose way leads there keeps it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.landmarks.crops import Crop, between
from pipeline.landmarks.detector import Found
from pipeline.landmarks.hide import standing
from pipeline.landmarks.join import Person
from pipeline.landmarks.looks import clothes
from pipeline.landmarks.motion import WIDEN, Motion, wrapped
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import CORE, MAIN, Path, apart, limbs_apart, torso
from pipeline.landmarks.sight import any_near, glance, look, recognised
from pipeline.landmarks.spool import Spool

LOST_S = 0.6  # without a sight for longer, a pass ends
ONE_BODY = 0.35  # torsos: two followed people nearer than this are on one body
SAME_PLACE, SAME_TURN, SAME_SIZE = 0.02, np.radians(3), 0.04  # of the side, radians, ratio: crops nearer than this show the same
AS_EXPECTED = 0.2  # torsos: mean distance of the joints from where they were expected
CLEAR = 0.6  # mean height of the main joints' heatmaps of a clear sight
BESIDE = 1.2  # torsos beside somebody followed, where somebody unfound is looked for
NOBODY = 0.05  # presence in a first such look below which no second one is taken
SURE_PRESENCE, SURE_PEAK, TWO_BODIES = 0.7, 0.45, 0.45  # what the second look must show, and torsos to anybody known
CALM_EVERY, CALM_S = 3, 0.1  # frames from look to look at someone who stands about, more where they come fast:
CALM_LEAN, CALM_SPEED, CALM_TURN = np.radians(25), 0.8, np.radians(40)  # trunk upright; torsos a second; radians a second
STILL, STILL_LOOKS, STILL_EVERY = 0.1, 2, 2  # torsos from look to look; after so many looks without more, so many times as rarely
STILL_THERE = 0.4  # torsos: mean distance of the joints from where they were filled in
AT_FOUND = 0.4  # of the reach: someone found nearer than this is already followed


@dataclass(eq=False)
class _Followed:
    """One person on the way through the stretch."""

    path: Path
    crop: Crop  # where to look next
    body: np.ndarray  # (33, 2) as last seen
    body_crop: Crop  # the crop that body fits
    seen_t: float
    every: int = 1  # looked at in every so many frames
    still: int = 0  # looks in a row at which nothing had moved since the one before
    waited: int = 0  # frames since the last look
    motion: Motion = field(default_factory=Motion)
    guess: Guess | None = None
    used: Crop | None = None
    worn: np.ndarray | None = None  # the colours at that guess, where they are known already
    known: tuple[Crop, np.ndarray, np.ndarray] | None = None  # what `expected` gave for this crop and body

    @property
    def patience(self) -> float:
        """Seconds without a sight after which this one is lost; who was hardly ever seen may be nobody."""
        return LOST_S * min(1.0, 0.2 + 0.08 * int(self.path.looked.sum()))

    def expected(self) -> np.ndarray:
        """(33, 2) the body as last seen, moved and turned with the crop."""
        if self.known is None or self.known[0] is not self.crop or self.known[1] is not self.body:
            body = self.crop.to_picture(Crop(self.body_crop.x, self.body_crop.y, self.crop.side, self.body_crop.angle).to_crop(self.body))
            self.known = self.crop, self.body, body
        return self.known[2]


def follow_everyone(
    net: LandmarkNet,
    spool: Spool,
    found: dict[int, list[Found]],
    step: int,
    *,
    other_way: Sequence[Path] = (),
    scenery: Sequence[Path] = (),
) -> list[Path]:
    """Passes through the stretch in one direction (+1, -1), from everyone found at the frames that were looked at.

    found   : frame number -> people the detector found there. Someone who is not yet followed where found is followed from there.
    other_way : passes of the other direction; where a crop would be the same as one they saw clearly, their result is taken over.
    scenery : those of them on people who only stand by; these are painted out and not followed again.
    Who stands about is looked at ten times a second, at most in every third frame, who stands still half as often; the frames between are
    filled with straight lines and marked.
    """
    live: list[_Followed] = []
    done: list[Path] = []
    looked_for = sorted(found)
    probed = set((looked_for[:1] + looked_for[len(looked_for) // 2 :][:1]) if step > 0 else looked_for[-1:])
    numbers = range(spool.first, spool.end) if step > 0 else range(spool.end - 1, spool.first - 1, -1)
    calm = calm_every(np.asarray(spool.t))
    before: int | None = None
    for number in numbers:
        t = spool.t[number - spool.first]
        if before is not None:
            dt = abs(t - spool.t[before - spool.first])
            for one in live:
                one.crop = one.motion.carry(one.crop, dt)
        around = [p.xy[number - spool.first] for p in scenery if p.valid[number - spool.first]]
        for one in live:
            one.guess, one.used, one.worn = None, None, None
            one.waited += 1
            if number in (spool.first, spool.end - 1):
                one.waited = max(one.waited, one.every)
            if one.waited >= one.every:
                others = around + [o.expected() for o in live if o is not one]
                same = _same_look(other_way, number, one, others)
                if same is not None:
                    one.guess, one.used, one.worn = same
                    one.path.shared[number - spool.first] = True
                else:
                    one.guess, one.used = look(net, spool[number], one.crop, others, one.expected(), one.path)
        _settle_disputes(live, around)
        for one in live:
            if one.waited >= one.every:
                _take(one, spool, number, calm)
        done += [o.path for o in live if abs(t - o.seen_t) > o.patience]
        live = [o for o in live if abs(t - o.seen_t) <= o.patience]
        new = [f for f in found.get(number, []) if not any(_is_on(b, f) for b in [*(o.body for o in live), *around])]
        live += _begin(net, spool, number, step, new, live, around)
        if number in probed:
            live += _unfound(net, spool, number, step, live, around)
        before = number
    paths = done + [o.path for o in live]
    for path in paths:
        path.fill(most=STILL_EVERY * calm)
    return paths


def calm_every(t: np.ndarray) -> int:
    """Frames from look to look at someone who stands about, of a stretch with frames at `t` seconds."""
    return CALM_EVERY if len(t) < 2 else max(CALM_EVERY, round(CALM_S / max(float(np.median(np.diff(t))), 1e-3)))


def look_closer(net: LandmarkNet, spool: Spool, person: Person, others: Sequence[Person], rows: np.ndarray) -> None:
    """Look at those of `rows` (n,) in which a person was only filled in, with the others painted out. What is not clear stays filled in."""
    if person.looked is None:
        return
    for row in np.flatnonzero(person.valid & ~person.looked & rows):
        body = person.xy[row]
        middle = body[CORE[2:]].mean(0)
        up = body[CORE[:2]].mean(0) - middle
        reach = float(np.linalg.norm(body - middle, axis=1).max())
        crop = between(middle, middle + up / max(float(np.hypot(*up)), 1e-6) * reach)
        around = [o.xy[row] for o in others if o.valid[row]]
        guess, _ = look(net, spool[person.first + int(row)], crop, around, body)
        if guess is not None and limbs_apart(guess.xy, body, max(float(torso(body)), 1.0)) < STILL_THERE:
            person.take(int(row), guess.xy, guess.z, guess.visibility, guess.peak)


def _same_look(other_way: Sequence[Path], number: int, one: _Followed, others: list[np.ndarray]) -> tuple[Guess, Crop, np.ndarray] | None:
    """What a pass of the other direction saw in this frame, and the colours there, if it looked at the same crop and saw clearly.

    With others in the crop it must also be the body expected.
    """
    crop = one.crop
    for path in other_way:
        row = number - path.first
        x, y, side, angle = path.crop[row]
        if (
            not path.looked[row]
            or not np.hypot(x - crop.x, y - crop.y) < SAME_PLACE * crop.side
            or abs(wrapped(angle - crop.angle)) > SAME_TURN
        ):
            continue
        if abs(np.log(side / crop.side)) < SAME_SIZE and path.presence[row] > 0.9 and path.peak[row, MAIN].mean() > CLEAR:
            expected = one.expected()
            if not any_near(others, crop) or limbs_apart(path.xy[row], expected, max(float(torso(expected)), 1.0)) < AS_EXPECTED:
                return path.guess(row), Crop(x, y, side, angle), path.clothes[row]
    return None


def _begin(
    net: LandmarkNet,
    spool: Spool,
    number: int,
    step: int,
    new: list[Found],
    live: list[_Followed],
    around: list[np.ndarray],
) -> list[_Followed]:
    """Start following people found; looked at twice, so that crops settle, the second time with better known neighbours."""
    bodies = [standing(f) for f in new]
    crops = [between(f.hips, f.top) for f in new]
    guesses: list[Guess | None] = [None] * len(new)
    known = around + [o.expected() for o in live]
    for _ in range(2):
        for k, f in enumerate(new):
            others = known + [b for j, b in enumerate(bodies) if j != k]
            guess = glance(net, spool[number], crops[k], others, bodies[k])
            guesses[k] = guess if recognised(guess) and _is_on(guess.xy, f) else None
            if guesses[k] is not None:
                bodies[k], crops[k] = guess.xy, between(guess.centre, guess.top)
        if not any(guesses):  # a second time would be the same
            break
    return _started(spool, number, step, guesses, crops, live, around)


def _unfound(net: LandmarkNet, spool: Spool, number: int, step: int, live: list[_Followed], around: list[np.ndarray]) -> list[_Followed]:
    """Whoever stands so close to somebody followed that the finder takes the two for one: seen once that one is painted out."""
    bodies = [*around, *(o.expected() for o in live)]
    guesses: list[Guess | None] = []
    crops = []
    for one in live:
        if one.seen_t != spool.t[number - spool.first]:
            continue
        size = max(float(torso(one.body)), 1.0)
        for beside in (-BESIDE * size, BESIDE * size):
            crop = Crop(one.body_crop.x + beside, one.body_crop.y, one.body_crop.side, one.body_crop.angle)
            first = glance(net, spool[number], crop, bodies, None)
            if first.presence < NOBODY:
                continue
            guess = glance(net, spool[number], between(first.centre, first.top), bodies, first.xy)
            sure = recognised(guess) and guess.presence >= SURE_PRESENCE and guess.peak[CORE].mean() >= SURE_PEAK
            if sure and all(limbs_apart(guess.xy, b, max(float(torso(guess.xy)), size)) > TWO_BODIES for b in bodies):
                guesses.append(guess)
                crops.append(between(guess.centre, guess.top))
    return _started(spool, number, step, guesses, crops, live, around)


def _started(
    spool: Spool,
    number: int,
    step: int,
    guesses: Sequence[Guess | None],
    crops: list[Crop],
    live: list[_Followed],
    around: list[np.ndarray],
) -> list[_Followed]:
    """New people to follow, of those seen who are not on somebody followed."""
    out: list[_Followed] = []
    for guess, crop in zip(guesses, crops, strict=True):
        taken = [*around, *(o.body for o in live + out)]
        if guess is None or any(apart(guess.xy, b, max(float(torso(guess.xy)), 1.0)) < ONE_BODY for b in taken):
            continue
        path = Path.empty(spool.first, len(spool), step)
        path.looks = 2
        path.put(number, guess, clothes(spool[number], guess.xy))
        path.crop[number - spool.first] = crop.x, crop.y, crop.side, crop.angle
        out.append(_Followed(path, crop, guess.xy, crop, spool.t[number - spool.first]))
    return out


def _settle_disputes(live: list[_Followed], around: list[np.ndarray]) -> None:
    """Of two on one body, the one farther from where it was expected has lost its own; on a bystander, always."""
    looked = [o for o in live if o.guess is not None]
    for one in looked:
        if any(apart(one.guess.xy, b, max(float(torso(one.guess.xy)), float(torso(b)), 1.0)) < ONE_BODY for b in around):
            one.guess = None
    looked = [o for o in looked if o.guess is not None]
    for i, a in enumerate(looked):
        for b in live:
            if a is b or a.guess is None or b in looked[:i]:
                continue
            other = b.guess.xy if b.guess is not None else b.expected()
            size = max(float(torso(a.guess.xy)), float(torso(other)), 1.0)
            if apart(a.guess.xy, other, size) >= ONE_BODY:
                continue
            if b.guess is None or apart(a.guess.xy, a.expected(), size) > apart(b.guess.xy, b.expected(), size):
                a.guess = None
            else:
                b.guess = None


def _take(one: _Followed, spool: Spool, number: int, calm: int) -> None:
    """Keep what was seen and learn from it, or carry on unseen."""
    row, t, longest = number - one.path.first, spool.t[number - spool.first], max(spool.size)
    waited, one.waited, one.every = one.waited, 0, 1
    if one.used is not None:
        one.path.crop[row] = one.used.x, one.used.y, one.used.side, one.used.angle
    if one.guess is None:
        one.motion.fade()
        one.crop = Crop(one.crop.x, one.crop.y, min(one.crop.side * WIDEN, 1.6 * longest), one.crop.angle)
        return
    one.path.put(number, one.guess, clothes(spool[number], one.guess.xy) if one.worn is None else one.worn)
    now = between(one.guess.centre, one.guess.top)
    now = Crop(now.x, now.y, float(np.clip(now.side, 24, 1.6 * longest)), now.angle)
    one.motion.learn(one.body_crop, now, max(abs(t - one.seen_t), 1e-3))
    one.path.spared += max(waited // calm - 1, 0)
    size = max(float(torso(one.guess.xy)), 1.0)
    one.still = one.still + 1 if waited >= calm and limbs_apart(one.guess.xy, one.body, size) < STILL else 0
    one.crop, one.body, one.body_crop, one.seen_t = now, one.guess.xy, now, t
    if abs(now.angle) < CALM_LEAN and np.hypot(one.motion.x, one.motion.y) < CALM_SPEED * size and abs(one.motion.turn) < CALM_TURN:
        one.every = calm * (STILL_EVERY if one.still >= STILL_LOOKS else 1)


def _is_on(body: np.ndarray, found: Found) -> bool:
    """This body is the person found."""
    hips, shoulders = body[CORE[2:]].mean(0), body[CORE[:2]].mean(0)
    return bool(max(np.linalg.norm(hips - found.hips), np.linalg.norm(shoulders - found.shoulders)) < AT_FOUND * found.reach)
