"""The mean of a group of athletes whose own levels are each known with a different error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from pipeline.trends.student import noncentral_t_cdf, t_quantile, two_sided_p


@dataclass(frozen=True)
class GroupMean:
    """A random-effects mean. `n` athletes; `between` is the variance of the athletes' true levels."""

    mean: float
    se: float
    df: float
    n: int
    between: float

    @property
    def interval(self) -> tuple[float, float]:
        """95 %; NaN where fewer than two athletes leave nothing to judge by."""
        if self.n < 2:
            return (float("nan"), float("nan"))
        half = t_quantile(self.df) * self.se
        return (self.mean - half, self.mean + half)


def group_mean(level: np.ndarray, variance: np.ndarray) -> GroupMean:
    """Mean of the athletes' true levels.

    level, variance : (n,) each athlete's level and the variance of its own error, in the square of the unit.
    The mixed model level = mean + athlete + error, solved as Paule & Mandel 1982 (J Res NBS 87:377) do for the variance
    between athletes, with the standard error of Hartung & Knapp 2001 (Stat Med 20:3875) and Student's t on n - 1
    degrees of freedom, which keeps its promise with few athletes.
    """
    y, v = np.asarray(level, float), np.asarray(variance, float)
    n = len(y)
    if n == 0:
        return GroupMean(np.nan, np.nan, np.nan, 0, np.nan)
    if n == 1:
        return GroupMean(float(y[0]), np.nan, np.nan, 1, np.nan)
    v = np.maximum(np.where(np.isfinite(v), v, np.nanmax(v) if np.isfinite(v).any() else 0.0), 1e-12 + 1e-9 * y.var())

    def excess(tau: float) -> float:
        w = 1 / (v + tau)
        return float((w * (y - (w * y).sum() / w.sum()) ** 2).sum() - (n - 1))

    tau = 0.0
    if excess(0.0) > 0:
        top = max(float(y.var(ddof=1)), 1e-9)
        while excess(top) > 0:
            top *= 2
        tau = float(optimize.brentq(excess, 0.0, top, xtol=1e-12 * top + 1e-300, rtol=1e-10))
    w = 1 / (v + tau)
    mean = float((w * y).sum() / w.sum())
    spread = float((w * (y - mean) ** 2).sum()) / (n - 1)
    return GroupMean(mean, float(np.sqrt(spread / w.sum())), n - 1.0, n, tau)


def difference(a: GroupMean, b: GroupMean) -> tuple[float, float, float, float]:
    """a - b with its standard error, degrees of freedom (Welch, Satterthwaite) and two-sided p. NaN below two athletes each.

    Cohorts may scatter differently. An athlete who counts in both makes the interval a little too wide, never too narrow.
    """
    if min(a.n, b.n) < 2:
        return (a.mean - b.mean, float("nan"), float("nan"), float("nan"))
    va, vb = a.se**2, b.se**2
    se = float(np.sqrt(va + vb))
    if se == 0:
        return (a.mean - b.mean, 0.0, a.df + b.df, 1.0 if a.mean == b.mean else 0.0)
    df = (va + vb) ** 2 / (va**2 / a.df + vb**2 / b.df)
    return (a.mean - b.mean, se, df, two_sided_p((a.mean - b.mean) / se, df))


def hedges_g(a: np.ndarray, b: np.ndarray) -> tuple[float, float, float]:
    """Hedges' g of a against b with its 95 % interval: the difference in standard deviations between athletes.

    a, b : (n,) the athletes' levels. Interval by inverting the noncentral t (Steiger & Fouladi 1997), both times with
    Hedges' correction for few athletes.
    """
    na, nb = len(a), len(b)
    df = na + nb - 2
    if min(na, nb) < 2:
        return (float("nan"),) * 3
    pooled = np.sqrt(((na - 1) * np.var(a, ddof=1) + (nb - 1) * np.var(b, ddof=1)) / df)
    if not pooled > 0:
        return (float("nan"),) * 3
    small = 1 - 3 / (4 * df - 1)
    scale = np.sqrt(1 / na + 1 / nb)
    t = float((np.mean(a) - np.mean(b)) / pooled / scale)

    spread = float(np.sqrt(1 + t * t / (2 * df)))

    def centre(p: float) -> float:
        low, high = max(t - 5 * spread, -37.0), min(t + 5 * spread, 37.0)  # beyond, the noncentral t gives up
        if not (low < high and noncentral_t_cdf(t, df, low) > p > noncentral_t_cdf(t, df, high)):
            return t - spread * float(special.ndtri(p))
        return float(optimize.brentq(lambda nc: noncentral_t_cdf(t, df, nc) - p, low, high, xtol=1e-4))

    return (small * t * scale, small * centre(0.975) * scale, small * centre(0.025) * scale)


def holm(p: np.ndarray) -> np.ndarray:
    """(k,) p adjusted by Holm 1979 (Scand J Stat 6:65); NaN stays NaN and counts as no test."""
    p = np.asarray(p, float)
    out = np.full(len(p), np.nan)
    order = np.flatnonzero(np.isfinite(p))
    order = order[np.argsort(p[order], kind="stable")]
    if len(order):
        out[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * (len(order) - np.arange(len(order)))))
    return out
