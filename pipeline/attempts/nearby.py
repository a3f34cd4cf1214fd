"""Weighted means over nearby moments, in memory and time that grow with the clip's length and not with its square."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp, inf

import numpy as np

ROWS = 128  # moments worked on at a time
REACH = 8.0  # standard deviations beyond which a Gaussian weight is nothing: exp(-32)
LEAST = 1e-200  # of a weight that fades: small enough to count for nothing beside a nearer one, and never 0


def gaussian_sums(t: np.ndarray, at: np.ndarray, values: np.ndarray, sd: float) -> np.ndarray:
    """(n, k) for each time `t` (n,), the sums of values (m, k), seen at the times `at` (m,), weighted by a Gaussian of `sd` seconds.

    Both clocks ascend. What lies further off than 8 sd adds less than 1e-13 of its value and is left out.

    >>> gaussian_sums(np.array([0.0, 9.0]), np.array([0.0, 1.0]), np.array([[2.0], [2.0]]), 1.0).round(2).tolist()
    [[3.21], [0.0]]
    """
    out = np.zeros((len(t), values.shape[1]))
    for rows, near in _pieces(t, at, REACH * sd):
        out[rows] = np.exp(-0.5 * ((t[rows, None] - at[None, near]) / sd) ** 2) @ values[near]
    return out


def fading_mean(t: np.ndarray, at: np.ndarray, values: np.ndarray, fade_s: float) -> np.ndarray:
    """(n,) for each time `t` (n,), the mean of values (m,), seen at the times `at` (m,), weighted by exp(-|time between| / fade_s).

    Both clocks ascend. However far the nearest value is, it counts; two passes, exact.

    >>> fading_mean(np.array([0.0, 5.0, 9000.0]), np.array([1.0, 9.0]), np.array([2.0, 4.0]), 1.0).round(3).tolist()
    [2.001, 3.0, 3.999]
    """
    before, before_weight = _faded(t, at, values, fade_s)
    after, after_weight = (side[::-1] for side in _faded(-t[::-1], -at[::-1], values[::-1], fade_s, own=False))
    return (before * before_weight + after * after_weight) / (before_weight + after_weight)


def _pieces(t: np.ndarray, at: np.ndarray, reach: float) -> Iterator[tuple[slice, slice]]:
    """Rows of `t`, a few at a time, with the columns of `at` that lie within `reach` of any of them."""
    for first in range(0, len(t), ROWS):
        rows = slice(first, min(first + ROWS, len(t)))
        yield rows, slice(int(np.searchsorted(at, t[rows][0] - reach)), int(np.searchsorted(at, t[rows][-1] + reach, side="right")))


def _faded(t: np.ndarray, at: np.ndarray, values: np.ndarray, fade_s: float, *, own: bool = True) -> tuple[np.ndarray, np.ndarray]:
    """The mean (n,) of the values seen until each time, and what weight it has then; with `own`, those of the same moment count."""
    mean, weight = np.zeros(len(t)), np.zeros(len(t))
    seen, now, here, last, k = list(zip(at.tolist(), values.tolist(), strict=True)), 0.0, 0.0, -inf, 0
    for i, moment in enumerate(t.tolist()):
        while k < len(seen) and (seen[k][0] <= moment if own else seen[k][0] < moment):
            faded = here * exp((last - seen[k][0]) / fade_s)
            now, here, last = (now * faded + seen[k][1]) / (faded + 1), faded + 1, seen[k][0]
            k += 1
        mean[i], weight[i] = now, max(here * exp((last - moment) / fade_s), LEAST) if k else 0.0
    return mean, weight
