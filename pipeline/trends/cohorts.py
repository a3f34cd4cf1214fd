"""Cohorts side by side: levels of athletes, differences between cohorts, change over the term. An athlete counts in the
cohort of the day, so one who moved counts in both, with the sessions of each."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from pipeline.trends.athlete import ENOUGH_SESSIONS, block_change
from pipeline.trends.pooled import GroupMean, difference, group_mean, hedges_g, holm
from pipeline.trends.precision import Precision, learn
from pipeline.trends.sessions import sessions
from pipeline.trends.student import t_quantile

ENOUGH_ATHLETES = 5  # fewer in a cohort are shown as dots and not compared; common practice, no source
SURE = 0.05  # chance that any difference said on a page is false
CELL = ["skill", "detail", "side", "setting"]  # what is compared at once

DOT_COLUMNS = [*CELL, "cohort", "athlete", "level", "low", "high", "variance", "sessions", "attempts", "change", "change_variance"]
MEAN_COLUMNS = [
    *CELL,
    "cohort",
    "athletes",
    "mean",
    "low",
    "high",
    "between_sd",
    "change_athletes",
    "change",
    "change_low",
    "change_high",
    "enough",
]
DIFFERENCE_COLUMNS = [*CELL, "cohort", "other", "difference", "low", "high", "p", "p_page", "sure", "effect", "effect_low", "effect_high"]


@dataclass(frozen=True)
class Comparison:
    """Tables with the columns above. `dots` one row an athlete in a cohort; nothing here is a ranking."""

    dots: pd.DataFrame
    means: pd.DataFrame
    differences: pd.DataFrame


def athlete_levels(judged: pd.DataFrame) -> pd.DataFrame:
    """DOT_COLUMNS from judged sessions (`Precision.judge`): level is the mean of the session medians of an athlete in a
    cohort, change the latest fortnight less the first (NaN below `ENOUGH_SESSIONS` sessions)."""
    grouped = judged.groupby([*CELL, "cohort", "athlete"], observed=True, sort=True)
    rows = []
    day, y, variance = (judged[c].to_numpy(float) for c in ("day", "median", "variance"))
    n, df = judged["n"].to_numpy(int), judged["df"].to_numpy(float)
    for name, at in grouped.indices.items():
        at = at[np.argsort(day[at], kind="stable")]
        k = len(at)
        own = float(variance[at].sum() / k**2)
        half = t_quantile(df[at[0]]) * np.sqrt(own)
        change, change_variance = np.nan, np.nan
        if k >= ENOUGH_SESSIONS:
            *_, change, change_variance = block_change(day[at], y[at], variance[at])
        level = float(y[at].mean())
        rows.append((*map(str, name), level, level - half, level + half, own, k, int(n[at].sum()), change, change_variance))
    return pd.DataFrame(rows, columns=DOT_COLUMNS)


def compare(readings: pd.DataFrame, precision: Precision | None = None, *, enough: int = ENOUGH_ATHLETES) -> Comparison:
    """Levels, means and differences for every detail, side and setting in `readings` (READING_COLUMNS)."""
    table = sessions(readings)
    return compare_judged((precision or learn(table)).judge(table), enough=enough)


def compare_judged(judged: pd.DataFrame, *, enough: int = ENOUGH_ATHLETES) -> Comparison:
    """The same from judged sessions (`Precision.judge`).

    Each cohort's mean comes from a mixed model of its own (`pooled.group_mean`), so cohorts may scatter differently;
    differences follow Welch. Of the ways tried with small simulated clubs (a mixed model by attempts with normal quantiles,
    a bootstrap by athlete, this) only this one covers 95 %: see the benchmark `trends`. All differences on a page share one
    Holm correction, so the chance of any false one stays at 5 %.
    """
    dots = athlete_levels(judged)
    means, pairs = [], []
    for cell, part in dots.groupby(CELL, sort=True):
        models: dict[str, tuple[GroupMean, np.ndarray]] = {}
        for cohort, one in part.groupby("cohort", sort=True):
            mean = group_mean(one["level"].to_numpy(), one["variance"].to_numpy())
            changed = one[one["change"].notna()]
            change = group_mean(changed["change"].to_numpy(), changed["change_variance"].to_numpy())
            fine = mean.n >= enough
            nothing = (np.nan, np.nan)
            means.append((
                *cell, cohort, mean.n, mean.mean, *(mean.interval if fine else nothing), np.sqrt(mean.between) if fine else np.nan,
                change.n, change.mean if change.n >= enough else np.nan, *(change.interval if change.n >= enough else nothing), fine,
            ))  # fmt: skip
            models[str(cohort)] = (mean, one["level"].to_numpy())
        for a, b in combinations([c for c, (m, _) in models.items() if m.n >= enough], 2):
            value, se, df, p = difference(models[a][0], models[b][0])
            half = t_quantile(df) * se
            pairs.append((*cell, a, b, value, value - half, value + half, p, np.nan, False, *hedges_g(models[a][1], models[b][1])))
    differences = pd.DataFrame(pairs, columns=DIFFERENCE_COLUMNS)
    differences["p_page"] = holm(differences["p"].to_numpy(float))
    differences["sure"] = differences["p_page"] < SURE
    return Comparison(dots, pd.DataFrame(means, columns=MEAN_COLUMNS), differences)


def without_names(dots: pd.DataFrame) -> pd.DataFrame:
    """The dots with no athlete to be found in them: no codes, and sorted by level within a cohort."""
    return dots.drop(columns="athlete").sort_values([*CELL, "cohort", "level"], kind="stable", ignore_index=True)
