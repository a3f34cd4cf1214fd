"""Whether a drill that one cohort took up helped it: its change against the change of cohorts without the drill in the same
weeks (difference in differences). It says what goes with the drill, not what caused it: cohorts differ in more than a drill."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from pipeline.trends.cohorts import CELL, ENOUGH_ATHLETES
from pipeline.trends.pooled import difference, group_mean, holm
from pipeline.trends.student import t_quantile

WEEKS = 4  # looked at before and after
ENOUGH_EACH = 2  # sessions an athlete needs before and after


@dataclass(frozen=True)
class DrillEffect:
    """One detail around one cohort's start of a drill; in the detail's unit, NaN where too few."""

    drill: str
    cohort: str
    since: str  # ISO date
    skill: str
    detail: str
    side: str
    setting: str
    change: float  # the cohort's, after less before
    others: float  # the other cohorts' over the same weeks
    more: float  # change - others
    low: float
    high: float
    earlier: float  # change - others in the weeks before: far from 0, the cohorts were already parting
    earlier_low: float
    earlier_high: float
    athletes: int
    other_athletes: int
    sure: bool  # Holm over all effects asked for together, and the cohorts were not already parting
    why: str  # where nothing can be said


def drill_effects(judged: pd.DataFrame, starts: pd.DataFrame, *, enough: int = ENOUGH_ATHLETES, weeks: int = WEEKS) -> list[DrillEffect]:
    """One effect for every start and every detail in `judged` (sessions with variances).

    starts : rows of drill, cohort, date (ISO). A cohort serves for comparison where it did not have the drill before or
    within the weeks looked at. Each athlete is one difference of means, so uneven attempts do not weigh.
    """
    out = []
    for start in starts.itertuples():
        day = float(np.datetime64(date.fromisoformat(start.date), "D").astype(int))
        had = starts[(starts["drill"] == start.drill) & (starts["cohort"] != start.cohort)]
        had_days = np.array([np.datetime64(d, "D").astype(int) for d in had["date"]], float)
        not_free = set(had["cohort"][had_days < day + 7 * weeks])
        for cell, part in judged.groupby(CELL, observed=True, sort=True):
            out.append(_effect(start, tuple(map(str, cell)), part, day, not_free, enough, weeks))
    adjusted = holm(np.array([p for _, p in out]))
    return [e if not (a < 0.05) else _said(e) for (e, _), a in zip(out, adjusted, strict=True)]


def _said(e: DrillEffect) -> DrillEffect:
    parting = np.isfinite(e.earlier_low) and not e.earlier_low <= 0 <= e.earlier_high
    why = "The cohorts were already parting before the drill." if parting else ""
    if not np.isfinite(e.earlier_low):
        why = "Too few sessions before to see whether the cohorts were already parting."
    return DrillEffect(**{**e.__dict__, "sure": not parting, "why": why})


def _athlete_changes(part: pd.DataFrame, day: float, weeks: int, least: int = ENOUGH_EACH) -> tuple[np.ndarray, np.ndarray]:
    """(n,) mean of an athlete's sessions in the weeks from `day` on less that in the weeks before, and its variance."""
    changes, variances = [], []
    for _, one in part.groupby("athlete", observed=True, sort=True):
        d, y, v = (one[c].to_numpy(float) for c in ("day", "median", "variance"))
        before, after = (d < day) & (d >= day - 7 * weeks), (d >= day) & (d < day + 7 * weeks)
        if min(before.sum(), after.sum()) >= least:
            changes.append(y[after].mean() - y[before].mean())
            variances.append(v[after].sum() / after.sum() ** 2 + v[before].sum() / before.sum() ** 2)
    return np.array(changes), np.array(variances)


def _effect(
    start: Any, cell: tuple[str, ...], part: pd.DataFrame, day: float, not_free: set[str], enough: int, weeks: int
) -> tuple[DrillEffect, float]:
    cohort = part["cohort"].astype(str)
    own, free = part[cohort == start.cohort], part[(cohort != start.cohort) & ~cohort.isin(not_free)]
    a, b = group_mean(*_athlete_changes(own, day, weeks)), group_mean(*_athlete_changes(free, day, weeks))
    nan = float("nan")
    head = dict(zip(("drill", "cohort", "since", *CELL), (start.drill, start.cohort, start.date, *cell), strict=True))
    if min(a.n, b.n) < enough:
        why = f"Too few to compare: {a.n} and {b.n} athletes with sessions before and after, {enough} each are needed."
        return DrillEffect(
            **head, change=nan, others=nan, more=nan, low=nan, high=nan, earlier=nan, earlier_low=nan, earlier_high=nan, athletes=a.n,
            other_athletes=b.n, sure=False, why=why,
        ), nan  # fmt: skip
    more, se, df, p = difference(a, b)
    half = t_quantile(df) * se
    # The same question at a date when nothing began, half way before.
    back = max(2, weeks // 2)
    ea, eb = (group_mean(*_athlete_changes(x[x["day"] < day], day - 7 * back, back, 1)) for x in (own, free))
    earlier, ese, edf, _ = difference(ea, eb) if min(ea.n, eb.n) >= enough else (nan, nan, nan, nan)
    ehalf = t_quantile(edf) * ese if np.isfinite(ese) else nan
    why = "Not more than the others changed in the same weeks, as far as can be told."
    return DrillEffect(
        **head, change=a.mean, others=b.mean, more=more, low=more - half, high=more + half, earlier=earlier, earlier_low=earlier - ehalf,
        earlier_high=earlier + ehalf, athletes=a.n, other_athletes=b.n, sure=False, why=why,
    ), p  # fmt: skip
