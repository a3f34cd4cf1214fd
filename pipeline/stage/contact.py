"""Keeping the body on the floor: nothing floats, nothing sinks, and what touches the floor does not slide."""

from __future__ import annotations

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.pose import Placed

SINK = 0.004  # metres a soft mat gives
TOUCH = 0.006  # metres over which a vertex counts less and less as touching


def contact_vertices(body: Body, every: int = 3) -> np.ndarray:
    """Indices of the vertices looked at for contact: each third one, without the inside of the head."""
    outside = ~body.owned("eye", "jaw", "tongue", "oris", "orbicularis", "levator", "risorius", "special", "temporalis")
    return np.flatnonzero(outside)[::every]


def subset(body: Body, placed: Placed, rows: np.ndarray) -> np.ndarray:
    """(n, len(rows), 3) the chosen vertices at every moment."""
    weights, rest = body.weights[rows], body.vertices[rows]
    out = np.empty((len(placed.shift), len(rows), 3))
    for i in range(len(out)):
        t = np.concatenate([placed.turn[i], placed.shift[i][:, :, None]], axis=2).reshape(-1, 12)
        m = (weights @ t).reshape(-1, 3, 4)
        out[i] = np.einsum("vij,vj->vi", m[:, :, :3], rest) + m[:, :, 3]
    return out


def settle(body: Body, placed: Placed, dt: float, *, ignore: np.ndarray | None = None) -> np.ndarray:
    """(n, 3) shift that puts the lowest point on the floor and cancels the sliding of what touches it.

    The body's horizontal path is the sum of the steps that leave the touching vertices, weighted by how near the floor
    they are, at rest from one moment to the next: feet stay planted, a rounded back rolls. Starts at no horizontal shift.
    ignore : (v,) bool, vertices that never carry (hair, say).
    """
    from scipy.ndimage import gaussian_filter1d

    rows = contact_vertices(body)
    if ignore is not None:
        rows = rows[~ignore[rows]]
    v = subset(body, placed, rows)
    lowest = v[:, :, 2].min(axis=1)
    near = np.exp(-(v[:, :, 2] - lowest[:, None]) / TOUCH)
    both = 0.5 * (near[1:] + near[:-1])
    step = np.diff(v[:, :, :2], axis=0)
    slide = np.sum(step * both[:, :, None], axis=1) / both.sum(axis=1)[:, None]
    shift = np.zeros((len(v), 3))
    shift[1:, :2] = -np.cumsum(slide, axis=0)
    shift[:, 2] = -gaussian_filter1d(lowest, 0.02 / dt, mode="nearest") - SINK
    return shift
