"""Points over time, smoothed both ways at their own times; gaps stay gaps."""

from __future__ import annotations

import numpy as np


def smooth_both_ways(t: np.ndarray, values: np.ndarray, width: float, *, passes: int = 5) -> tuple[np.ndarray, np.ndarray]:
    """A curve through noisy values: at every moment a parabola fitted to what lies around it, stray values weighted down.

    t (n,) seconds, any spacing; values (n, k), NaN = gap; width: half-width of the look around, seconds.
    Returns (smoothed (n, k), sd (n, k)): NaN where the value itself is missing (nothing is bridged); sd is the local scatter
    divided by the root of the values behind it, in the same unit: what jitter leaves in the smoothed value.
    Method: local quadratic regression with tricube weights in time and bisquare weights on residuals against the whole curve's median and
    the local scatter (after Cleveland 1979, LOWESS).
    """
    n = len(t)
    ok = np.isfinite(values)
    filled = np.where(ok, values, 0.0)
    gap = (t[None, :] - t[:, None]) / width
    near = np.clip(1 - np.abs(gap) ** 3, 0, None) ** 3
    basis = np.stack([np.ones((n, n)), gap, gap**2])
    robust = ok.astype(float)
    smoothed, sd = values.astype(float).copy(), np.full(values.shape, np.nan)
    for _ in range(passes):
        # moments of the weights, (3, 3, n, k), and of the values, (3, n, k)
        weighted = basis * near
        moments = np.stack([[(weighted[i] * basis[j]) @ robust for j in range(3)] for i in range(3)])
        against = np.stack([weighted[i] @ (robust * filled) for i in range(3)])
        ridge = np.diag([1e-9, 1e-4, 1e-4])[:, :, None, None] * np.maximum(moments[0, 0], 1e-9)
        system = np.moveaxis(moments + ridge, (0, 1), (-2, -1))
        fit = np.linalg.solve(system, np.moveaxis(against, 0, -1)[..., None])[..., 0, 0]
        enough = moments[0, 0] > 0.5
        smoothed = np.where(ok & enough, fit, values)
        residual = np.where(ok, values - smoothed, 0.0)
        weight = near @ robust
        scatter = np.sqrt(np.clip(near @ (robust * residual**2) / np.maximum(weight, 1e-9), 1e-18, None))
        free = np.maximum(weight - 1.5, 0.5)  # values less the parameters spent, roughly
        scatter = scatter * np.sqrt(np.maximum(weight, 1e-9) / free)
        sd = np.where(ok, scatter / np.sqrt(np.maximum(weight / 2.2, 1.0)), np.nan)
        usual = np.array([np.median(np.abs(residual[ok[:, k], k])) if ok[:, k].any() else 0.0 for k in range(values.shape[1])])
        robust = ok * np.clip(1 - (residual / (np.maximum(9 * usual, 2.2 * scatter) + 1e-9)) ** 2, 0, 1) ** 2
    return smoothed, sd
