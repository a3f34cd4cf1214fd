"""How far a session's median may lie from what the athlete can do: what is chance, learnt from a whole club.

Three things make a session's median differ from the athlete's level, and each is counted once:

within   attempts of one day differ. Their scatter is seen directly, and already holds that part of the readings' own
         error which changes from attempt to attempt.
between  days differ (form, tiredness, where the phone stood). Seen in how far a session lies from the straight line
         between its neighbours in time (Gasser, Sroka & Jennen-Steinmetz 1986, Biometrika 73:625), so that a steady change
         is not taken for chance; what the scatter within days explains is taken off first. This holds the part of the own
         error that a day's attempts share.
own      what the readings' intervals state. All of it must be in the other two; where they come to less (few sessions,
         luck), the missing part is added to what the day's attempts share.

So one attempt has SEM² = max(within + between, own), and the median of n attempts
max(between + m(n)·within, own - (1 - m(n))·within), with m(n) from `median_error`.

Athletes differ in how steady they are: each series has a scale of its own, drawn towards the club's (`shrink`), and the
degrees of freedom that come with it go into Student's t wherever an interval is made.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.trends.median_error import median_factor
from pipeline.trends.sessions import KIND, SERIES, series_number
from pipeline.trends.shrink import Prior, common_variance

FAR_APART = 56.0  # days; a session is not judged by neighbours further apart than this
NOTHING = Prior(float("nan"), 0.0, 0.0)


@dataclass(frozen=True)
class Kind:
    """What is known of one detail in one setting over the club. Variances in the square of the detail's unit."""

    within: float  # of one attempt about its day
    between: float  # of a day about the athlete's level
    own: float  # what the readings' own intervals state
    scale: Prior  # of the series' scales, 1 being the club's
    series: int  # how many series it was learnt from

    @property
    def sem(self) -> float:
        """Standard error of measurement of one attempt."""
        return float(np.sqrt(max(self.within + self.between, self.own)))

    def variance(self, n: np.ndarray, scale: np.ndarray, own: np.ndarray) -> np.ndarray:
        """(k,) variance of session medians of n (k,) attempts in series with this scale and own error, each (k,)."""
        m = median_factor(n)
        return np.maximum(scale * (self.between + m * self.within), own - (1 - m) * self.within)


@dataclass(frozen=True)
class _Residuals:
    """Of sessions against the line between their neighbours; one row each, plus their summed moments per series."""

    series: np.ndarray  # (r,) which series
    value: np.ndarray  # (r,) standardised so that unit session variance gives unit variance
    weights: np.ndarray  # (r, 3) of the three sessions in it
    first: np.ndarray  # (r,) row of the first of the three


def _residuals(day: np.ndarray, y: np.ndarray, series: np.ndarray) -> _Residuals:
    first = np.flatnonzero((series[:-2] == series[2:]) & (day[2:] - day[:-2] <= FAR_APART)) if len(y) >= 3 else np.zeros(0, int)
    span = day[first + 2] - day[first]
    left = (day[first + 2] - day[first + 1]) / span
    weights = np.stack([left, -np.ones_like(left), 1 - left], axis=1)
    weights /= np.sqrt((weights**2).sum(1, keepdims=True))
    value = sum(weights[:, i] * y[first + i] for i in range(3)) if len(first) else np.zeros(0)
    return _Residuals(series[first], np.asarray(value, float), weights, first)


def _moments(res: _Residuals, variance: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sum of squared residuals per series (count,), its expectation under `variance` of the sessions, its degrees of freedom."""
    v = np.stack([variance[res.first + i] for i in range(3)], axis=1) if len(res.first) else np.zeros((0, 3))
    own = (res.weights**2 * v).sum(1)
    square = np.bincount(res.series, res.value**2, minlength=count)
    expected = np.bincount(res.series, own, minlength=count)
    spread = np.bincount(res.series, own**2, minlength=count)
    for step in (1, 2):  # residuals one and two sessions apart share sessions
        if len(res.first) <= step:
            continue
        gap = res.first[step:] - res.first[:-step]
        for shift in (1, 2):
            pair = np.flatnonzero((gap == shift) & (res.series[step:] == res.series[:-step]))
            if shift < step or not len(pair):
                continue
            a, b = pair, pair + step
            both = sum(res.weights[a, shift + i] * res.weights[b, i] * v[b, i] for i in range(3 - shift))
            spread += np.bincount(res.series[a], 2 * np.asarray(both) ** 2, minlength=count)
    with np.errstate(invalid="ignore", divide="ignore"):
        df = np.where(spread > 0, expected**2 / spread, 0.0)
    return square, expected, df


def learn_kind(table: pd.DataFrame) -> Kind:
    """Kind from the sessions (SESSION_COLUMNS, ordered by series and day) of one detail in one setting."""
    series = series_number(table)
    count = int(series.max()) + 1 if len(table) else 0
    if not count:
        return Kind(np.nan, np.nan, np.nan, NOTHING, 0)
    n = table["n"].to_numpy(int)
    spare = int((n - 1).sum())
    within = float(table["scatter"].sum() / spare) if spare else 0.0
    own = float(np.average(table["own"], weights=n))
    m = median_factor(n)
    res = _residuals(table["day"].to_numpy(float), table["median"].to_numpy(float), series)
    between = 0.0
    if len(res.value):
        explained = (res.weights**2 * np.stack([m[res.first + i] for i in range(3)], axis=1)).sum(1) * within
        between = max(0.0, float((res.value**2 - explained).mean()))
    square, expected, df = _moments(res, between + m * within, count)
    with np.errstate(invalid="ignore", divide="ignore"):
        scale = np.where(expected > 0, square / expected, np.nan)
    return Kind(within, between, own, common_variance(scale, np.where(np.isfinite(scale), df, 0.0)), count)


@dataclass(frozen=True)
class Precision:
    """The club's kinds, by (skill, detail, setting)."""

    kinds: dict[tuple[str, ...], Kind]

    def judge(self, table: pd.DataFrame) -> pd.DataFrame:
        """The sessions with `variance` of each median and `df` of that variance (both NaN or 0 where nothing can be told).

        table : sessions, ordered by series and day. Each series is judged by its own residuals and by its kind.
        """
        variance, df, sem = (np.full(len(table), nothing) for nothing in (np.nan, 0.0, np.nan))
        series = series_number(table)
        n, y, day, own = (table[name].to_numpy(float) for name in ("n", "median", "day", "own"))
        for name, rows in table.groupby(KIND, observed=True, sort=False).indices.items():
            kind = self.kinds.get(tuple(str(k) for k in name))
            if kind is None:
                kind = learn_kind(table.iloc[rows])
            variance[rows], df[rows], sem[rows] = _judge_kind(kind, series[rows], n[rows], y[rows], day[rows], own[rows])
        out = table.copy(deep=False)  # the sessions' own columns are shared, not doubled
        out.index = pd.RangeIndex(len(out))
        out["variance"], out["df"], out["sem"] = variance, df, sem
        return out


def _judge_kind(
    kind: Kind, series: np.ndarray, n: np.ndarray, y: np.ndarray, day: np.ndarray, own: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Variance, its df and sem of the sessions of one kind; all arguments (m,), in the order of series and day."""
    series = np.cumsum(np.concatenate([[0], series[1:] != series[:-1]])).astype(int)  # 0, 1, ... within the kind
    count, n = int(series[-1]) + 1, n.astype(int)
    usual = kind.between + median_factor(n) * kind.within
    square, expected, df = _moments(_residuals(day, y, series), usual, count)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(expected > 0, square / expected, np.nan)
    scale, total = kind.scale.moderated(ratio, np.where(np.isfinite(ratio), df, 0.0))
    own = np.bincount(series, own * n, minlength=count) / np.bincount(series, n, minlength=count)
    variance = kind.variance(n, scale[series], own[series])
    sem = np.sqrt(np.maximum(scale * (kind.between + kind.within), own))[series]
    return np.where(total[series] > 0, variance, np.nan), total[series], np.where(total[series] > 0, sem, np.nan)


def learn(sessions: pd.DataFrame) -> Precision:
    """Precision from the sessions of a club (or of one athlete, where there is no more)."""
    return Precision({tuple(str(k) for k in name): learn_kind(part) for name, part in sessions.groupby(KIND, observed=True, sort=False)})


__all__ = ["FAR_APART", "SERIES", "Kind", "Precision", "learn", "learn_kind"]
