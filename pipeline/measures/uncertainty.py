"""Evidence in, readings with 95 % intervals out: what is known of the error is added up, and past what is known there is no value."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

from pipeline.measures.reading import Reading
from pipeline.vocabulary import DETAIL, Side, Skill

TABLE = Path(__file__).with_name("error_table.csv")
LOOK_S = 0.3  # neighbouring frames share their errors for about this long; a hold of h seconds is h / LOOK_S looks
PASSES_SHARE = (
    0.5  # of the distance between the passes that is error of their mean (two independent looks: sd of the mean is half their distance)
)


Table = Mapping[tuple[Skill, str], "Known"]


@dataclass(frozen=True)
class Known:
    """One row of the error table. Of a count, sd times factor is by how many its interval is widened."""

    bias: float  # truth minus reading
    sd: float
    factor: float  # combined sd to half-width of the 95 % interval
    n: int  # attempts behind it; 0 is a wide first guess
    below: float = float("nan")  # the same downwards, where readings are wrong further on that side

    @property
    def down(self) -> float:
        """Combined sd to the interval's lower half."""
        return self.below if np.isfinite(self.below) else self.factor


@lru_cache(maxsize=4)
def error_table(path: Path = TABLE) -> Table:
    """The committed table of known errors; its first lines say how it was made."""
    with path.open(encoding="utf-8") as lines:
        rows = csv.DictReader(line for line in lines if not line.startswith("#"))
        return {
            (Skill(r["skill"]), r["detail"]): Known(
                float(r["bias"]), float(r["sd"]), float(r["factor"]), int(r["n"]), float(r.get("below") or "nan")
            )
            for r in rows
        }


@dataclass(frozen=True)
class Evidence:
    """What the frames of one attempt say about one detail. All in the detail's unit; the sd parts are independent of each other."""

    value: float
    spread: float = 0.0  # sd of the value from scatter over the window
    view: float = 0.0  # sd from the view's angle not being known exactly
    passes: float = 0.0  # sd from the disagreement of the passes
    usable: float = 0.0  # 0..1 of the window's frames
    at_s: float = float("nan")
    line: tuple[str, ...] = ()
    problem: str = ""  # a full sentence; where set there is no reading
    limits: tuple[float, float] = field(default=(-np.inf, np.inf))  # what the body allows
    below: float = 0.0  # sd of what can only make the true value lower, never higher


def make_reading(skill: Skill, detail: str, side: Side, evidence: Evidence, table: Table) -> Reading:
    """The reading of one detail: bias taken off, all parts of the error added in squares, times the calibrated factor."""
    known = table[(skill, detail)]
    unit = DETAIL[(skill, detail)].unit
    problem = evidence.problem or (
        "" if np.isfinite(evidence.value) else "The joints for this line were not seen together; film the whole body from start to end."
    )
    if problem:
        nan = float("nan")
        return Reading(detail, side, nan, nan, nan, unit, float(evidence.usable), problem, evidence.at_s, evidence.line)
    low_limit, high_limit = evidence.limits
    value = float(np.clip(evidence.value + known.bias, low_limit, high_limit))
    sd = combined(known.sd, evidence)
    down, up = known.down * float(np.hypot(sd, evidence.below)), known.factor * sd
    low, high = max(value - down, low_limit), min(value + up, high_limit)
    return Reading(detail, side, value, float(low), float(high), unit, float(evidence.usable), "", evidence.at_s, evidence.line)


def combined(model_sd: float, evidence: Evidence) -> float:
    """Root of the summed squares of all parts of the error."""
    return float(np.sqrt(model_sd**2 + evidence.spread**2 + evidence.view**2 + evidence.passes**2))


def robust_sd(values: np.ndarray) -> float:
    """The sd of known values (n,), n > 0, that stray ones do not count in: the median distance from their median, as of a normal distribution."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def spread_of_median(values: np.ndarray, t: np.ndarray) -> float:
    """sd of the median of frame values over a window: robust scatter over the root of independent looks."""
    ok = np.isfinite(values)
    if ok.sum() < 2:
        return 0.0
    scatter = robust_sd(values[ok])
    looks = max(1.0, (t[ok][-1] - t[ok][0]) / LOOK_S)
    return float(1.25 * scatter / np.sqrt(looks))


def angle_sd(distances: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """(n,) degrees: sd of a joint's angle from the passes' disagreement.

    distances (n, 3) pixels at the three joints in order; first, second (n,) pixels: lengths of the two segments.
    """
    a, v, c = (PASSES_SHARE / np.sqrt(2) * distances[:, k] for k in range(3))  # across the segment, one of two directions
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.degrees(np.sqrt((a / first) ** 2 + (c / second) ** 2 + v**2 * (1 / first + 1 / second) ** 2))
