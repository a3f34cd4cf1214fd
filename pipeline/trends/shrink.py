"""Variances of many small samples, each drawn towards what they have in common (empirical Bayes)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

AS_LIKELY = 1.0  # of log likelihood: priors this near the best count as likely; chosen by measured coverage of small clubs


@dataclass(frozen=True)
class Prior:
    """What a club's variances have in common: a typical variance and how many degrees of freedom it is worth."""

    variance: float
    df: float  # 0: nothing in common is known; large: all are alike
    total_df: float  # degrees of freedom of all samples together, which nothing may exceed

    def moderated(self, variance: np.ndarray, df: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(k,) variances drawn to the prior, and their (k,) degrees of freedom. A sample with df 0 gets the prior alone."""
        own = np.where(np.asarray(df) > 0, np.nan_to_num(variance), 0.0)
        df = np.asarray(df, float)
        total = self.df + df
        with np.errstate(invalid="ignore", divide="ignore"):
            prior = self.df * self.variance if self.df > 0 else 0.0
            out = np.where(total > 0, (prior + df * own) / total, np.nan)
        return out, np.minimum(total, max(self.total_df, 1e-12))


def common_variance(variance: np.ndarray, df: np.ndarray, *, min_samples: int = 3) -> Prior:
    """The prior that sample variances point to, if true variances scatter like a scaled inverse chi-square.

    variance, df : (k,) sample variances and their degrees of freedom; those with df 0 are passed over.
    With fewer than `min_samples` nothing in common can be told: df is 0.
    The model is Smyth 2004's (Stat Appl Genet Mol Biol 3(1) article 3), under which variance / prior follows F(df, prior df).
    He takes moments of logarithms; with one or two degrees of freedom a sample, as children's few sessions leave, those
    are too wild, so the prior is found by maximum likelihood.
    """
    variance, df = np.asarray(variance, float), np.asarray(df, float)
    good = (df > 1e-9) & np.isfinite(variance)
    variance, df = variance[good], df[good]
    total = float(df.sum())
    if len(df) == 0:
        return Prior(np.nan, 0.0, 0.0)
    pooled = float((variance * df).sum() / total)
    if len(df) < min_samples or pooled <= 0:
        return Prior(pooled, 0.0, total)
    tried = [(total, pooled, _likelihood(variance, df, np.inf, pooled))]
    for prior_df in np.geomspace(1.0, max(total, 2.0), 14)[:-1]:
        scale = _likeliest_scale(variance, df, prior_df, pooled)
        tried.append((float(prior_df), scale, _likelihood(variance, df, prior_df, scale)))
    best = max(fit for _, _, fit in tried)
    # Few samples leave open how alike they are: of the priors about as likely as the best, the most careful.
    prior_df, scale = min((d, s) for d, s, fit in tried if fit >= best - AS_LIKELY)
    return Prior(scale, min(prior_df, total), total)


def _likelihood(variance: np.ndarray, df: np.ndarray, prior_df: float, scale: float) -> float:
    """Log likelihood, less what does not depend on the prior."""
    if np.isinf(prior_df):
        return float((-df / 2 * np.log(scale) - df * variance / (2 * scale) + df / 2 * np.log(df / 2) - special.gammaln(df / 2)).sum())
    ratio = df / prior_df
    return float(
        (
            -special.betaln(df / 2, prior_df / 2)
            + df / 2 * np.log(ratio / scale)
            - (df + prior_df) / 2 * np.log1p(ratio * variance / scale)
        ).sum()
    )


def _likeliest_scale(variance: np.ndarray, df: np.ndarray, prior_df: float, start: float) -> float:
    """The scale where the likelihood's slope in its logarithm is nought; that slope falls steadily, so the root is one."""

    def rise(log_scale: float) -> float:
        x = df * variance / (prior_df * np.exp(log_scale))
        return float(((df + prior_df) * x / (1 + x) - df).sum())

    low = high = float(np.log(start))
    while rise(low) < 0 and low > -700:
        low -= 1.0
    while rise(high) > 0:
        high += 1.0
    return float(np.exp(optimize.brentq(rise, low, high, xtol=1e-6))) if rise(low) > 0 else start
