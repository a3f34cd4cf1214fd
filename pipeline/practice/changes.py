"""Whether a detail has certainly changed between two days: the question of the trend pages, asked of a few sessions."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import pandas as pd

from pipeline.trends.athlete import ENOUGH_SESSIONS, block_change, change_since_start
from pipeline.trends.precision import learn
from pipeline.trends.sessions import sessions
from pipeline.trends.slope import slope
from pipeline.trends.student import t_quantile

ENOUGH_TO_LEARN = 30  # athletes from whom chance is learnt; more tell hardly more and take longer


class Changes:
    """Certain changes in a club's readings; what is chance is learnt once, and only if somebody asks."""

    def __init__(self, readings: pd.DataFrame) -> None:
        self._readings = readings

    @cached_property
    def _series(self) -> dict[tuple[str, ...], pd.DataFrame]:
        """The sessions of each athlete, skill, detail, setting and side, judged by what the club shows to be chance."""
        table = sessions(self._readings[self._readings["athlete"] != ""])
        codes = sorted(map(str, table["athlete"].unique()))
        chosen = {codes[i * len(codes) // ENOUGH_TO_LEARN] for i in range(ENOUGH_TO_LEARN)} if len(codes) > ENOUGH_TO_LEARN else set(codes)
        judged = learn(table[table["athlete"].isin(chosen)]).judge(table)
        judged["date"] = judged["date"].astype(str)
        names = ["athlete", "skill", "detail", "setting", "side"]
        return {tuple(map(str, name)): part for name, part in judged.groupby(names, observed=True, sort=False)}

    def changed(self, athlete: str, skill: str, detail: str, setting: str, since: str, until: str) -> bool | None:
        """True or False between two ISO dates, both included, on either side of the body; None with fewer sessions than a trend needs."""
        answers = []
        for side in ("", "left", "right"):
            part = self._series.get((athlete, skill, detail, setting, side))
            if part is not None:
                day = part["date"].to_numpy(dtype=object)
                answers.append(_changed(part, (day >= since) & (day <= until)))
        return True if True in answers else (None if None in answers or not answers else False)


def _changed(series: pd.DataFrame, rows: np.ndarray) -> bool | None:
    """Whether one series has changed over (n,) bool `rows` of its sessions; the trend's error is drawn only where it can matter."""
    if rows.sum() < ENOUGH_SESSIONS:
        return None
    day, y, variance = (series[c].to_numpy(float)[rows] for c in ("day", "median", "variance"))
    df = float(series["df"].iloc[0])
    *_, change, total = block_change(day, y, variance)
    if not abs(change) > t_quantile(df) * total**0.5:
        return False  # within what could be chance, whatever the sessions between say
    return change_since_start(series[rows], slope(day, y, variance, df)).real
