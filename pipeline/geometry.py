"""Angles, lengths and lines of points over time. Arrays in, arrays out; a missing point gives NaN, never a guess.

Shared by the rooms that look at bodies. Picture coordinates: x to the right, y **down**; "clockwise" is as seen on the screen.
"""

from __future__ import annotations

import numpy as np


def _unit(v: np.ndarray) -> np.ndarray:
    """`v` scaled to length 1 along its last axis; NaN where its length is 0."""
    length = np.linalg.norm(v, axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(length > 0, v / length, np.nan)


def joint_angle(a: np.ndarray, vertex: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Angle at `vertex` between the directions to `a` and to `c`.

    a, vertex, c : (..., 2 or 3), all in one length unit.
    Returns (...,) degrees, 0 folded to 180 straight; NaN where a point is missing or on the vertex.
    Method: Kahan's half-angle arctangent; arccos loses digits, or gives NaN, near 0 and 180.

    >>> joint_angle(np.array([[1.0, 0]]), np.array([[0.0, 0]]), np.array([[0.0, 2]])).round(6)
    array([90.])
    """
    u, v = _unit(np.asarray(a, float) - vertex), _unit(np.asarray(c, float) - vertex)
    return np.degrees(2 * np.arctan2(np.linalg.norm(u - v, axis=-1), np.linalg.norm(u + v, axis=-1)))


def turn(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Turn that carries direction `u` onto `v` in the picture, clockwise positive.

    u, v : (..., 2) picture vectors, y down. Returns (...,) degrees in (-180, 180]; NaN where one is missing or has no length.

    >>> turn(np.array([0.0, -1.0]), np.array([3.0, 0.0])).round(6).item()  # from up to right: a quarter, clockwise
    90.0
    """
    u, v = _unit(np.asarray(u, float)), _unit(np.asarray(v, float))
    cross = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    return np.degrees(np.arctan2(cross, np.sum(u * v, axis=-1)))


def signed_angle(a: np.ndarray, vertex: np.ndarray, c: np.ndarray, facing: int | np.ndarray) -> np.ndarray:
    """Angle at `vertex` from the direction to `a` to that to `c`, measured through the **front** of the body.

    For a hip (a shoulder, c knee or ankle): below 180 is piked, 180 straight, above 180 arched. The picture must show the body from its side.
    a, vertex, c : (..., 2) pixels, y down. facing : +1 if the upright body would face the picture's right, -1 its left;
    a body that rolls over keeps it, for a turn in the picture carries back and front along.
    Returns (...,) degrees in [0, 360); NaN where a point is missing or on the vertex.

    >>> shoulder, hip, knee = np.array([0.0, -1.0]), np.zeros(2), np.array([1.0, 0.0])  # sitting, facing right
    >>> signed_angle(shoulder, hip, knee, facing=+1).round(6).item(), signed_angle(shoulder, hip, knee, facing=-1).round(6).item()
    (90.0, 270.0)
    """
    vertex = np.asarray(vertex, float)
    return np.mod(np.asarray(facing) * turn(np.asarray(a, float) - vertex, np.asarray(c, float) - vertex), 360.0)


def angle_to(v: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """Unsigned angle between the vectors `v` and a `direction` (for instance the upright of the floor).

    v, direction : (..., 2 or 3). Returns (...,) degrees 0..180; NaN where one is missing or has no length.

    >>> angle_to(np.array([1.0, -1.0]), np.array([0.0, -1.0])).round(6).item()
    45.0
    """
    v = np.asarray(v, float)
    return joint_angle(v, np.zeros_like(v), np.broadcast_to(np.asarray(direction, float), v.shape))


def length(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Distance between points `a` and `b`, (..., 2 or 3) each; (...,) in their unit, NaN where one is missing.

    >>> length(np.array([0.0, 0.0]), np.array([3.0, 4.0])).item()
    5.0
    """
    return np.linalg.norm(np.asarray(a, float) - b, axis=-1)


def offset_from_chord(point: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Perpendicular distance of `point` from the straight line through `start` and `end`, as a share of the chord between them.

    point, start, end : (..., 2) in one unit. Returns (...,) signed: positive on the clockwise side (seen along start to end);
    NaN where a point is missing or the chord has no length.

    >>> offset_from_chord(np.array([5.0, 1.0]), np.array([0.0, 0.0]), np.array([10.0, 0.0])).item()
    0.1
    """
    start = np.asarray(start, float)
    chord, to = np.asarray(end, float) - start, np.asarray(point, float) - start
    square = np.sum(chord**2, axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(square > 0, (chord[..., 0] * to[..., 1] - chord[..., 1] * to[..., 0]) / square, np.nan)


def middle(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """The point half way between `a` and `b`; the one that is there where the other is missing.

    >>> middle(np.array([[0.0, 0.0], [2.0, 2.0]]), np.array([[2.0, 4.0], [np.nan, np.nan]]))
    array([[1., 2.],
           [2., 2.]])
    """
    a, b = np.asarray(a, float), np.asarray(b, float)
    return np.where(np.isfinite(a) & np.isfinite(b), (a + b) / 2, np.where(np.isfinite(a), a, b))
