"""Whether a knee rests on the floor in a backward roll, and for how long.

A knee a finger's breadth over the mat and one that rests on it look alike for a frame. How likely it rests is told by how low the knees
get for a tenth of a second and by what else may carry meanwhile: knees that lie under the feet do, and while the shoulders lie on the mat
the knees beside the head need not. Only where that is next to sure does the interval leave out the other answer.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

COEFFICIENTS = Path(__file__).with_name("knee_contact.csv")
TOUCH_S = 0.1  # a touch that counts lasts this long
REST_LEVEL = 9.0  # % of the shank; knees come and go fast, so that a level well above a resting knee's still tells its time
SURE = 0.83  # the other answer is left out from here on: the least with which 95 % of all intervals hold (children left out)
LOW_BOUNDS, FEET_MOST = (-6.0, 20.0), 10.0  # % of the shank; past these more says no more
TELL_TO = 15.0  # % of the shank; above that the other signs say nothing
SHOULDERS_FROM, SHOULDERS_TO = 10.0, 70.0  # % of the shank: they lie on the mat, and the trunk is up


@dataclass(frozen=True)
class Signs:
    """What tells a touch, of one roll."""

    low: float  # % of the shank over the floor, the lowest mean over TOUCH_S
    feet: float  # % of the shank by which the lower knee lies over the lower end of its foot while it is low; negative below it
    seconds: float  # for which the knees are low
    at_s: float  # when they are lowest
    shoulders: float = float("nan")  # % of the shank by which the shoulders lie over the floor then


@dataclass(frozen=True)
class Model:
    """The log odds of a touch: a straight line in three signs (`terms`), and what the time of a touch may be off."""

    base: float
    low: float
    feet: float
    shoulders: float
    seconds_sd: float
    n: int

    def chance(self, signs: Signs) -> float:
        """0..1 that a knee rested on the floor for a moment that counts."""
        return float(1 / (1 + np.exp(-np.clip(np.dot(terms(signs), (self.base, self.low, self.feet, self.shoulders)), -30, 30))))


def terms(signs: Signs) -> tuple[float, float, float, float]:
    """1 and the signs: knees and feet in tens of % of the shank, the shoulders from -1 (on the mat) to 1 (trunk up). Feet and shoulders say
    less the higher the knees are, and nothing where they were not seen."""
    near = float(np.clip(1 - signs.low / TELL_TO, 0.0, 1.0))
    feet = 0.0 if np.isnan(signs.feet) else float(np.clip(signs.feet, -FEET_MOST, FEET_MOST))
    up = 2 * (signs.shoulders - SHOULDERS_FROM) / (SHOULDERS_TO - SHOULDERS_FROM) - 1
    return 1.0, float(np.clip(signs.low, *LOW_BOUNDS)) / 10, near * feet / 10, 0.0 if np.isnan(up) else near * float(np.clip(up, -1.0, 1.0))


@lru_cache(maxsize=2)
def contact_model(path: Path = COEFFICIENTS) -> Model:
    """The committed model; its first lines say how it was made."""
    with path.open(encoding="utf-8") as lines:
        row = next(csv.DictReader(line for line in lines if not line.startswith("#")))
    number = {name: float(value) for name, value in row.items()}
    return Model(number["base"], number["low"], number["feet"], number["shoulders"], number["seconds_sd"], int(number["n"]))


def signs_of(t: np.ndarray, level: np.ndarray, feet: np.ndarray, shoulders: np.ndarray) -> Signs | None:
    """The signs from the lower knee's clearance (n,), its height over its foot (n,) and the shoulders' over the floor (n,), all % of the
    shank, in the key window at times t."""
    means = np.full(len(t), np.nan)
    for i, start in enumerate(t):
        part = level[(t >= start - 1e-9) & (t < start + TOUCH_S)]
        if np.isfinite(part).sum() >= 2:
            means[i] = np.nanmean(part)
    if not np.isfinite(means).any():
        return None
    i = int(np.nanargmin(means))
    with np.errstate(invalid="ignore"):
        low = level < max(means[i], -3.0) + REST_LEVEL
    then = (t >= t[i] - 1e-9) & (t < t[i] + TOUCH_S)
    return Signs(float(means[i]), _median(feet[low]), time_below(t, level, REST_LEVEL), float(t[i]), _median(shoulders[then]))


def _median(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def seconds_on_floor(signs: Signs, model: Model, frame_s: float) -> tuple[float, float, float]:
    """(value, low, high) seconds. A touch shorter than the time between two frames is not seen, so no interval ends below that."""
    chance, edge = model.chance(signs), 1.96 * model.seconds_sd
    seconds = max(signs.seconds, frame_s) if chance > 1 - SURE else 0.0
    value = seconds if chance >= 0.5 else 0.0
    low = max(seconds - edge, frame_s) if chance >= SURE else 0.0
    return value, min(low, value), max(seconds + edge if chance > 1 - SURE else 0.0, frame_s)


def time_below(t: np.ndarray, level: np.ndarray, limit: float) -> float:
    """Seconds for which a level lies below a limit, crossings interpolated; gaps count as above."""
    ok = np.isfinite(level)
    t, level = t[ok], level[ok]
    if len(t) < 2:
        return 0.0
    a, b, step = level[:-1] - limit, level[1:] - limit, np.diff(t)
    step = np.where(step > 0.3, 0.0, step)
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where((a < 0) & (b < 0), 1.0, np.where(a < 0, a / (a - b), np.where(b < 0, b / (b - a), 0.0)))
    return float(np.sum(step * part))
