"""One look at somebody: a crop in which the others are painted out, and once more in a better one where it was turned or off."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.crops import Crop, between, cut
from pipeline.landmarks.hide import paint_out
from pipeline.landmarks.motion import wrapped
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import CORE, Path, torso

LEAST_PRESENCE = 0.5
LEAST_PEAK = 0.25  # mean height of the heatmaps of shoulders and hips; below it nothing was recognised
LOOK_AGAIN_TURN = np.radians(14)  # a body turned more than this in its crop is looked at again, better aligned
LOOK_AGAIN_SHIFT = 0.10  # of the crop's side


def recognised(guess: Guess) -> bool:
    """The model sees a person and knows where the trunk is."""
    return guess.presence >= LEAST_PRESENCE and float(guess.peak[CORE].mean()) >= LEAST_PEAK


def look(
    net: LandmarkNet, image: np.ndarray, crop: Crop, others: list[np.ndarray], own: np.ndarray | None, path: Path | None = None
) -> tuple[Guess | None, Crop]:
    """One frame's best look: again with a better crop where the first one was turned or off; None where nobody is seen."""
    guess = glance(net, image, crop, others, own)
    if path is not None:
        path.looks += 1
    if not recognised(guess):
        return None, crop
    better = between(guess.centre, guess.top)
    turned = abs(wrapped(better.angle - crop.angle)) > LOOK_AGAIN_TURN
    shifted = np.hypot(better.x - crop.x, better.y - crop.y) > LOOK_AGAIN_SHIFT * crop.side
    if not (turned or shifted or not 0.8 < better.side / crop.side < 1.25):
        return guess, crop
    again = glance(net, image, better, others, own)
    if path is not None:
        path.looks += 1
    if recognised(again) and again.peak[CORE].mean() >= 0.8 * guess.peak[CORE].mean() and torso(again.xy) > 0.4 * torso(guess.xy):
        return again, better
    return guess, crop


def glance(net: LandmarkNet, image: np.ndarray, crop: Crop, others: list[np.ndarray], own: np.ndarray | None) -> Guess:
    """What the network sees in a crop in which the others are painted out, and not where one's own body was expected."""
    pixels = cut(image, crop)
    near = any_near(others, crop)
    if near:
        pixels = paint_out(pixels, near, None if own is None else crop.to_crop(own))
    return net.read(pixels, crop)


def any_near(others: list[np.ndarray], crop: Crop) -> list[np.ndarray]:
    """The other bodies that reach into the crop, in its pixels."""
    if not others:
        return []
    placed = crop.to_crop(np.stack(others))
    return list(placed[((placed.max(1) > 0) & (placed.min(1) < 255)).all(1)])
