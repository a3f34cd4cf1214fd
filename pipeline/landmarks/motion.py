"""How the crop round somebody who is followed moves from frame to frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.landmarks.crops import Crop

WIDEN = 1.03  # per frame while lost
FOLLOW_MOTION = 0.6  # weight of the newest movement in the one carried on
FADE = 0.85  # of the movement carried on, per frame while lost


@dataclass
class Motion:
    """How a crop moves, per second."""

    x: float = 0.0
    y: float = 0.0
    turn: float = 0.0

    def carry(self, crop: Crop, dt: float) -> Crop:
        return Crop(crop.x + self.x * dt, crop.y + self.y * dt, crop.side, crop.angle + self.turn * dt)

    def learn(self, before: Crop, now: Crop, dt: float, k: float = FOLLOW_MOTION) -> None:
        """Take in a step; `k` is the weight of the newest."""
        self.x += k * ((now.x - before.x) / dt - self.x)
        self.y += k * ((now.y - before.y) / dt - self.y)
        self.turn += k * (wrapped(now.angle - before.angle) / dt - self.turn)

    def fade(self) -> None:
        self.x, self.y, self.turn = self.x * FADE, self.y * FADE, self.turn * FADE


def wrapped(angle: float) -> float:
    return float((angle + np.pi) % (2 * np.pi) - np.pi)
