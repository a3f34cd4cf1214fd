"""The Reading and Curve types: what one detail measured for one attempt, and how it went over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.vocabulary import Side


@dataclass(frozen=True)
class Reading:
    """A detail's value for one attempt. An empty value (NaN) always carries a reason; a value always has an interval."""

    detail: str  # detail id, unique within the skill
    side: Side
    value: float
    low: float  # 95 % interval
    high: float
    unit: str
    usable_share: float  # 0..1 of the frames in the key window that could be used
    reason: str = ""  # why there is no value, and how to film it next time
    at_s: float = float("nan")  # the moment read, for the key picture
    line: tuple[str, ...] = ()  # names of the landmarks joined by the line that was measured, in order

    def __post_init__(self) -> None:
        if np.isnan(self.value) and not self.reason:
            raise ValueError(f"{self.detail}: an empty reading needs a reason.")
        if not np.isnan(self.value) and not self.low <= self.value <= self.high:
            raise ValueError(f"{self.detail}: {self.value} does not lie within {self.low} .. {self.high}.")


@dataclass(frozen=True)
class Curve:
    """One angle or height at every frame of an attempt, for the plots. NaN is a gap."""

    detail: str
    side: Side
    unit: str
    t: np.ndarray  # (n,) seconds from the clip's first shown frame
    value: np.ndarray  # (n,)
    low: np.ndarray  # (n,) 95 % interval of each frame's value
    high: np.ndarray  # (n,)
