"""A robust trend: the Theil–Sen slope of session medians, with an interval that holds for few and uneven sessions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.trends.student import t_quantile

MONTH = 30.4375  # days
DRAWS = 600
LEAST_VARIANCE = 1e-12  # counts may be sure


@dataclass(frozen=True)
class Slope:
    """Per month, with a 95 % interval; NaN where it cannot be told. `middle` is the line's height at day `at`."""

    per_month: float
    low: float
    high: float
    at: float
    middle: float
    se: float  # standard error, per month
    df: float

    def points(self, direction: float, *, level: float = 0.80) -> bool:
        """Whether the two-sided interval at `level` lies wholly on the side of `direction` (its sign)."""
        return bool(self.df > 0 and direction * self.per_month > t_quantile(self.df, 0.5 + level / 2) * self.se * abs(direction))


def theil_sen(day: np.ndarray, y: np.ndarray) -> float:
    """Median of the slopes of all pairs, in units of y a day; day, y : (n,). NaN below two different days."""
    if len(np.unique(day)) < 2:
        return float("nan")
    i, j = np.triu_indices(len(day), 1)
    span = day[j] - day[i]
    apart = span != 0
    return float(np.median((y[j] - y[i])[apart] / span[apart]))


def slope(day: np.ndarray, median: np.ndarray, variance: np.ndarray, df: float, *, rng: np.random.Generator | None = None) -> Slope:
    """The trend of one series.

    day, median, variance : (n,) of its sessions, in days and the detail's unit (squared); df of the variance.
    A session is one point, however many attempts it had. Adding a line to all sessions adds its slope to the Theil–Sen
    slope, so the slope's error has the distribution it would have without any trend: it is drawn from the sessions' own
    variances (`rng`, a fixed seed by default, so that pages stay the same), and scaled by Student's t on `df`.
    Sen's own interval counts ranks instead; below six sessions it cannot reach 95 % and it takes all sessions for equally
    sure.
    """
    day, y, variance = np.asarray(day, float), np.asarray(median, float), np.asarray(variance, float)
    at, middle = float(np.median(day)) if len(day) else np.nan, np.nan
    per_day = theil_sen(day, y)
    if not np.isfinite(per_day):
        return Slope(np.nan, np.nan, np.nan, at, middle, np.nan, df)
    middle = float(np.median(y - per_day * (day - at)))
    se = half = np.nan
    if len(day) >= 3 and df > 0 and np.isfinite(variance).all():
        se = MONTH * _standard_error(day, variance, rng)
        half = t_quantile(df) * se
    return Slope(per_day * MONTH, per_day * MONTH - half, per_day * MONTH + half, at, middle, se, df)


def _standard_error(day: np.ndarray, variance: np.ndarray, rng: np.random.Generator | None) -> float:
    rng = rng or np.random.default_rng(20240229)
    if len(day) > 60:  # so many pairs that the large-sample efficiency of the estimate serves: 3 / pi against least squares
        w = 1 / np.maximum(variance, LEAST_VARIANCE)
        centred = day - (w * day).sum() / w.sum()
        return float(np.sqrt(np.pi / 3 / (w * centred**2).sum()))
    i, j = np.triu_indices(len(day), 1)
    span = day[j] - day[i]
    i, j, span = i[span > 0], j[span > 0], span[span > 0]
    noise = rng.standard_normal((DRAWS, len(day))) * np.sqrt(variance)
    return float(np.sqrt(np.mean(np.median((noise[:, j] - noise[:, i]) / span, axis=1) ** 2)))
