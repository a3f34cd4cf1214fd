"""Key poses -> smooth curves over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

RATE = 120.0  # moments a second at which movements are computed


def clock(seconds: float) -> np.ndarray:
    """(n,) moments from 0 to `seconds`."""
    return np.arange(round(seconds * RATE) + 1) / RATE


def curve(t: np.ndarray, keys: Sequence[tuple[float, float]]) -> np.ndarray:
    """(n,) a smooth curve through (time, value) keys that never overshoots (monotone cubic; Fritsch & Carlson 1980)."""
    from scipy.interpolate import PchipInterpolator

    times, values = np.array(keys, float).T
    if len(times) == 1:
        return np.full_like(t, values[0])
    return PchipInterpolator(times, values)(np.clip(t, times[0], times[-1]))


def curves(t: np.ndarray, times: Sequence[float], table: Mapping[str, Sequence[float | None]]) -> dict[str, np.ndarray]:
    """One curve a name; `None` in a row means no key at that time."""
    out = {}
    for name, values in table.items():
        if len(values) != len(times):
            raise ValueError(f"{name}: {len(times)} key times, but {len(values)} values.")
        out[name] = curve(t, [(at, v) for at, v in zip(times, values, strict=True) if v is not None])
    return out


def ramp(t: np.ndarray, start: float, end: float) -> np.ndarray:
    """(n,) 0 before start, 1 after end, smooth between."""
    x = np.clip((t - start) / max(end - start, 1e-9), 0, 1)
    return x * x * x * (x * (6 * x - 15) + 10)


def window(t: np.ndarray, start: float, end: float, fade: float = 0.1) -> np.ndarray:
    """(n,) 1 from start to end, fading in before and out after."""
    return ramp(t, start - fade, start) * (1 - ramp(t, end, end + fade))


def wander(t: np.ndarray, rng: np.random.Generator, size: float, slowest: float = 3.0) -> np.ndarray:
    """(n,) a small natural drift: three sines of seeded phase and period, rms about `size`."""
    out = np.zeros_like(t)
    for k in (1.0, 0.61, 0.37):
        out += np.sin(2 * np.pi * t / (slowest * k * rng.uniform(0.8, 1.25)) + rng.uniform(0, 2 * np.pi)) * k
    return out * size / 0.9
