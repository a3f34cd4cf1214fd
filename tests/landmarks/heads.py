"""Angle heads of the near look whose words are known, as files."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipeline.landmarks.near_angles import COUNT
from pipeline.landmarks.net import FEATURES, JOINTS

WIDTH = FEATURES + 2 * len(JOINTS)


def silu(x: float) -> float:
    return x / (1 + np.exp(-x))


def arrays(*, where_first_is_one: np.ndarray | None = None) -> dict[str, np.ndarray]:
    """Of a head that tells steps (COUNT,) where the first feature is 1, nearly nothing where it is -1, and nothing where it is 0.

    Where none are given it always tells nothing.
    """
    weights = [np.zeros((4, WIDTH)), np.zeros((4, 4)), np.zeros((COUNT, 4))]
    if where_first_is_one is not None:
        weights[0][0, 0], weights[1][0, 0] = 20.0, 1.0  # SiLU of -20 is nearly 0
        weights[2][:, 0] = where_first_is_one / silu(silu(20.0))
    out = {"mean": np.zeros(WIDTH), "deviation": np.ones(WIDTH)}
    for k, weight in enumerate(weights):
        out |= {f"weight_{k}": weight, f"bias_{k}": np.zeros(len(weight))}
    return {name: value.astype(np.float32) for name, value in out.items()}


def written(path: Path, **told: np.ndarray) -> Path:
    """Such a head's file."""
    np.savez(path, **arrays(**told))
    return path
