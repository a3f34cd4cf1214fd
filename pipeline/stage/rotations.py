"""Rotation matrices for whole trajectories: every function takes scalars or (n,) arrays and gives (..., 3, 3)."""

from __future__ import annotations

import numpy as np


def _about(axis: int, degrees: np.ndarray | float) -> np.ndarray:
    a = np.radians(np.asarray(degrees, float))
    c, s = np.cos(a), np.sin(a)
    out = np.zeros((*a.shape, 3, 3))
    i, j = (axis + 1) % 3, (axis + 2) % 3
    out[..., axis, axis] = 1
    out[..., i, i] = c
    out[..., j, j] = c
    out[..., i, j] = -s
    out[..., j, i] = s
    return out


def rx(degrees: np.ndarray | float) -> np.ndarray:
    """Right-handed rotation about x."""
    return _about(0, degrees)


def ry(degrees: np.ndarray | float) -> np.ndarray:
    """Right-handed rotation about y."""
    return _about(1, degrees)


def rz(degrees: np.ndarray | float) -> np.ndarray:
    """Right-handed rotation about z."""
    return _about(2, degrees)


def unit(v: np.ndarray) -> np.ndarray:
    """v divided by its length along the last axis (zero stays zero)."""
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-12)


def shortest(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """(..., 3, 3) the smallest rotation that turns direction a into direction b; a, b : (..., 3).

    Rodrigues with the half-way vector; for opposite directions any half turn serves.
    """
    a, b = np.broadcast_arrays(unit(a), unit(b))
    v = np.cross(a, b)
    c = np.sum(a * b, axis=-1)[..., None, None]
    k = np.zeros((*v.shape[:-1], 3, 3))
    k[..., 0, 1], k[..., 0, 2], k[..., 1, 2] = -v[..., 2], v[..., 1], -v[..., 0]
    k[..., 1, 0], k[..., 2, 0], k[..., 2, 1] = v[..., 2], -v[..., 1], v[..., 0]
    return np.eye(3) + k + k @ k / np.maximum(1 + c, 1e-6)


def frame(forward: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """(..., 3, 3) right-handed frame, columns: forward, side, normal made square to forward."""
    f = unit(forward)
    n = unit(normal - f * np.sum(f * normal, axis=-1, keepdims=True))
    return np.stack([f, np.cross(n, f), n], axis=-1)
