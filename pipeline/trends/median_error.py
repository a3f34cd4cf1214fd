"""How much a median of few attempts still varies."""

from __future__ import annotations

import numpy as np

# Variance of the median of 1, 2, ... standard normal values, from the moments of normal order statistics, integrated to
# five digits; the tests integrate them anew. Beyond the table, pi / (2n + pi - 2).
TABLE = np.array([
    1.00000, 0.50000, 0.44867, 0.29820, 0.28683, 0.21475, 0.21045, 0.16819, 0.16610, 0.13834,
    0.13716, 0.11754, 0.11680, 0.10219, 0.10169, 0.09040, 0.09005, 0.08106, 0.08079, 0.07347,
    0.07326, 0.06719, 0.06701, 0.06190, 0.06175, 0.05738, 0.05725, 0.05348, 0.05336, 0.05008,
])  # fmt: skip


def median_factor(n: np.ndarray | list[int] | int) -> np.ndarray:
    """Variance of the median of `n` normal values over the variance of one: 1, 1/2, 0.449, 0.298, ... towards pi / (2n).

    n : (k,) whole numbers from 1. Returns (k,).
    """
    k = np.atleast_1d(np.asarray(n, int))
    return np.where(k <= len(TABLE), TABLE[np.minimum(k, len(TABLE)) - 1], np.pi / (2 * k + np.pi - 2))
