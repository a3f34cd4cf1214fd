"""Intraclass correlations of a full table, to check against what is learnt from uneven sessions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.trends.reliability import minimal_detectable_change


@dataclass(frozen=True)
class Reliability:
    """From a full table of n subjects by k trials."""

    icc_1_1: float  # one trial, trials not told apart
    icc_2_1: float  # one trial, trials a random sample: differences between trials count as error
    icc_3_1: float  # one trial, trials fixed: differences between trials do not count
    icc_1_k: float  # the same for the mean of k trials
    icc_2_k: float
    icc_3_k: float
    sem: float  # standard error of measurement of one trial, sqrt(MS error) of the two-way table
    mdc: float  # minimal detectable change, 1.96 * sqrt(2) * SEM


def reliability(table: np.ndarray) -> Reliability:
    """table : (n subjects, k trials) without gaps, n and k at least 2.

    Sources: Shrout & Fleiss 1979, Psychol Bull 86:420 (the six correlations); Weir 2005, J Strength Cond Res 19:231 (SEM, MDC).
    """
    x = np.asarray(table, float)
    if x.ndim != 2 or min(x.shape) < 2 or not np.isfinite(x).all():
        raise ValueError(f"Reliability needs a full table of at least 2 subjects by 2 trials, but got shape {x.shape}.")
    n, k = x.shape
    between = k * x.mean(1).var(ddof=1)
    within = ((x - x.mean(1, keepdims=True)) ** 2).sum() / (n * (k - 1))
    trials = n * x.mean(0).var(ddof=1)
    error = (within * n * (k - 1) - trials * (k - 1)) / ((n - 1) * (k - 1))
    sem = float(np.sqrt(max(error, 0.0)))
    return Reliability(
        icc_1_1=(between - within) / (between + (k - 1) * within),
        icc_2_1=(between - error) / (between + (k - 1) * error + k * (trials - error) / n),
        icc_3_1=(between - error) / (between + (k - 1) * error),
        icc_1_k=(between - within) / between,
        icc_2_k=(between - error) / (between + (trials - error) / n),
        icc_3_k=(between - error) / between,
        sem=sem,
        mdc=minimal_detectable_change(sem),
    )
