"""Whether a detail has certainly changed between two days: the question of the trend pages, asked of a few sessions."""

from __future__ import annotations

from functools import cached_property

import pandas as pd

from pipeline.trends.athlete import ENOUGH_SESSIONS, block_change, change_since_start, judged
from pipeline.trends.precision import Precision, learn
from pipeline.trends.sessions import sessions
from pipeline.trends.slope import slope
from pipeline.trends.student import t_quantile

ENOUGH_TO_LEARN = 30  # athletes from whom chance is learnt; more tell hardly more and take longer


class Changes:
    """Certain changes in a club's readings; what is chance is learnt once, and only if somebody asks."""

    def __init__(self, readings: pd.DataFrame) -> None:
        self.readings = readings[(readings["date"] != "") & (readings["athlete"] != "")]
        self._judged: dict[str, pd.DataFrame] = {}

    @cached_property
    def _precision(self) -> Precision:
        codes = sorted(set(self.readings["athlete"]))
        if len(codes) > ENOUGH_TO_LEARN:
            chosen = {codes[i * len(codes) // ENOUGH_TO_LEARN] for i in range(ENOUGH_TO_LEARN)}
            return learn(sessions(self.readings[self.readings["athlete"].isin(chosen)]))
        return learn(sessions(self.readings))

    def changed(self, athlete: str, skill: str, detail: str, setting: str, since: str, until: str) -> bool | None:
        """True or False between two ISO dates, both included, on either side of the body; None with fewer sessions than a trend needs."""
        if athlete not in self._judged:
            self._judged[athlete] = judged(self.readings[self.readings["athlete"] == athlete], self._precision)
        table = self._judged[athlete]
        if table.empty:
            return None
        day = table["date"].astype(str)
        same = (table["skill"] == skill) & (table["detail"] == detail) & (table["setting"] == setting)
        answers = [_changed(part) for _, part in table[same & (day >= since) & (day <= until)].groupby("side", observed=True)]
        return True if True in answers else (None if None in answers or not answers else False)


def _changed(part: pd.DataFrame) -> bool | None:
    """Whether one series has changed; the trend's error is drawn only where it can matter."""
    if len(part) < ENOUGH_SESSIONS:
        return None
    day, y, variance = (part[c].to_numpy(float) for c in ("day", "median", "variance"))
    df = float(part["df"].iloc[0])
    *_, change, total = block_change(day, y, variance)
    if not abs(change) > t_quantile(df) * total**0.5:
        return False  # within what could be chance, whatever the sessions between say
    return change_since_start(part, slope(day, y, variance, df)).real
