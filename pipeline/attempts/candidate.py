"""One possible attempt, before it is decided which ones count."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.vocabulary import Side, Skill


@dataclass(frozen=True)
class Candidate:
    """Times in seconds on the clip's clock; `fit` 0..1 says how clearly the signals match this skill and no other."""

    skill: Skill
    start_s: float
    end_s: float
    key_start_s: float
    key_end_s: float
    direction: int
    lead_side: Side
    fit: float


def margin(value: float, limit: float, width: float) -> float:
    """0..1: how clearly `value` lies above `limit`; 0.5 on it, near 1 a `width` above. A negative width asks for below.

    >>> round(margin(1.0, 1.0, 0.1), 2), margin(1.2, 1.0, 0.1) > 0.95, margin(1.2, 1.0, -0.1) < 0.05
    (0.5, True, True)
    """
    if value != value:  # NaN: not known, so not clear
        return 0.0
    x = min(max((value - limit) / width, -20.0), 20.0)
    return float(1 / (1 + 2.718281828 ** (-2 * x)))
