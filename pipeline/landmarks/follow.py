"""Following one person with the landmark model alone, crop by crop, from where the person was found.

The crop of the next frame comes from this frame's steering points, carried on by the movement so far: the model bears a
crop turned against the body by 12 degrees, and a cartwheel turns as much from frame to frame.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.landmarks.crops import Crop, between
from pipeline.landmarks.detector import Found
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import CORE, Path, torso
from pipeline.landmarks.spool import Spool

LEAST_PRESENCE = 0.5
LEAST_PEAK = 0.25  # mean height of the heatmaps of shoulders and hips; below it nothing was recognised
LOST_S = 0.5  # without a sight for longer, a pass ends
WIDEN = 1.05  # per frame while lost
FOLLOW_MOTION = 0.6  # weight of the newest movement in the one carried on
LOOK_AGAIN_TURN = np.radians(14)  # a body turned more than this in its crop is looked at again, better aligned
LOOK_AGAIN_SHIFT = 0.10  # of the crop's side
LARGEST_STEP = 0.8  # torsos the hips may move between two frames at 30 a second, beyond what movement foretells


@dataclass
class _Motion:
    """How the crop moves, per second."""

    x: float = 0.0
    y: float = 0.0
    turn: float = 0.0

    def carry(self, crop: Crop, dt: float) -> Crop:
        return Crop(crop.x + self.x * dt, crop.y + self.y * dt, crop.side, crop.angle + self.turn * dt)

    def learn(self, before: Crop, now: Crop, dt: float) -> None:
        k = FOLLOW_MOTION
        self.x += k * ((now.x - before.x) / dt - self.x)
        self.y += k * ((now.y - before.y) / dt - self.y)
        self.turn += k * (_wrapped(now.angle - before.angle) / dt - self.turn)


def begin(net: LandmarkNet, image: np.ndarray, found: Found) -> tuple[Guess, Crop] | None:
    """The first look at a person found, twice, so that the crop settles; None where the model recognises nobody."""
    crop = between(found.hips, found.top)
    for _ in range(2):
        guess = net(image, crop)
        if not recognised(guess):
            return None
        crop = between(guess.centre, guess.top)
    return guess, crop


def recognised(guess: Guess) -> bool:
    """The model sees a person and knows where the trunk is."""
    return guess.presence >= LEAST_PRESENCE and float(guess.peak[CORE].mean()) >= LEAST_PEAK


def follow(net: LandmarkNet, spool: Spool, start: int, crop: Crop, step: int, *, met: Callable[[int, Crop], bool] | None = None) -> Path:
    """Follow from frame `start` in direction `step` (+1, -1) to the end of the stretch, or until lost.

    `met(number, crop)` may end the pass where it has met another one of the same direction.
    """
    path = Path.empty(spool.first, len(spool), step)
    longest = 1.6 * max(spool.size)
    motion, last_seen, last_crop = _Motion(), None, None
    number = start
    while spool.first <= number < spool.end:
        t = spool.t[number - spool.first]
        if met is not None and met(number, crop):
            path.merged = True
            break
        guess, used = look(net, spool[number], crop, path)
        path.crop[number - spool.first] = used.x, used.y, used.side, used.angle
        if guess is not None:
            path.put(number, guess)
            now = between(guess.centre, guess.top)
            now = Crop(now.x, now.y, float(np.clip(now.side, 24, longest)), now.angle)
            if last_crop is not None and last_seen is not None:
                motion.learn(last_crop, now, abs(t - last_seen))
            last_seen, last_crop, crop = t, now, now
        else:
            if last_seen is None or abs(t - last_seen) > LOST_S:
                break
            crop = Crop(crop.x, crop.y, min(crop.side * WIDEN, longest), crop.angle)
        number += step
        if spool.first <= number < spool.end:
            crop = motion.carry(crop, abs(spool.t[number - spool.first] - t))
    return path


def look(net: LandmarkNet, image: np.ndarray, crop: Crop, path: Path) -> tuple[Guess | None, Crop]:
    """One frame's best look: again with a better crop where the first one was turned or off; None where nobody is seen."""
    guess = net(image, crop)
    path.looks += 1
    if not recognised(guess):
        return None, crop
    better = between(guess.centre, guess.top)
    turned = abs(_wrapped(better.angle - crop.angle)) > LOOK_AGAIN_TURN
    shifted = np.hypot(better.x - crop.x, better.y - crop.y) > LOOK_AGAIN_SHIFT * crop.side
    if not (turned or shifted or not 0.8 < better.side / crop.side < 1.25):
        return guess, crop
    again = net(image, better)
    path.looks += 1
    if recognised(again) and again.peak[CORE].mean() >= 0.8 * guess.peak[CORE].mean() and torso(again.xy) > 0.4 * torso(guess.xy):
        return again, better
    return guess, crop


def _wrapped(angle: float) -> float:
    return float((angle + np.pi) % (2 * np.pi) - np.pi)
