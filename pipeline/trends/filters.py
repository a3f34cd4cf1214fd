"""Which readings to look at: by date, skill, setting and lead side."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from pipeline.errors import MatsideError
from pipeline.vocabulary import Setting, Side, Skill


@dataclass(frozen=True)
class Filters:
    """None lets everything through. `since` and `until` are both included."""

    since: date | None = None
    until: date | None = None
    skill: Skill | None = None
    setting: Setting | None = None
    lead_side: Side | None = None  # the side found in the attempt

    def __post_init__(self) -> None:
        if self.since and self.until and self.since > self.until:
            raise MatsideError(f"The period starts on {self.since} but ends on {self.until}, which is earlier. Swap the two dates.")

    def apply(self, readings: pd.DataFrame) -> pd.DataFrame:
        """The rows that pass; `readings` is left as it is. A row without a date passes only where no period is asked for."""
        keep = pd.Series(True, index=readings.index)
        if self.since or self.until:
            first, last = (self.since or date.min).isoformat(), (self.until or date.max).isoformat()
            within = {d: bool(d) and first <= d <= last for d in map(str, readings["date"].unique())}
            keep &= readings["date"].map(within).astype(bool)
        for column in ("skill", "setting", "lead_side"):
            wanted = getattr(self, column)
            if wanted is not None:
                keep &= readings[column] == str(wanted)
        return readings[keep]

    def words(self) -> str:
        """The filter in words, for the head of a page; empty where nothing is left out."""
        parts = []
        if self.since:
            parts.append(f"from {self.since}")
        if self.until:
            parts.append(f"until {self.until}")
        if self.skill:
            parts.append(str(self.skill).replace("_", " ") + " only")
        if self.setting:
            parts.append(f"{self.setting} only")
        if self.lead_side:
            parts.append(f"{self.lead_side} leaders only")
        return ", ".join(parts)


def latest(newest: str, weeks: int) -> date:
    """The first day of the last `weeks` weeks up to and with the ISO date `newest`."""
    return date.fromisoformat(newest) - timedelta(days=7 * weeks - 1)
