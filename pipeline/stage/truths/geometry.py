"""Angles, sides and contacts of a body in space. Shares no code with the measures it is there to check."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.stage.motions.movement import Span
from pipeline.vocabulary import Side

TOUCHING = 0.010  # metres: skin lower than this is on the mat (which gives by 4 mm)
Joints = dict[str, np.ndarray]  # name -> (n, 3) metres, z up
Heights = dict[str, np.ndarray]  # name -> (n,) metres of the lowest skin above the floor


@dataclass(frozen=True)
class TrueDetail:
    """One true value."""

    detail: str
    side: Side
    value: float
    unit: str


@dataclass(frozen=True)
class Attempt:
    """What a skill's truth is computed from. t : (n,) seconds; near : the side nearer to the camera."""

    t: np.ndarray
    j: Joints
    low: Heights
    span: Span
    near: Side

    def during(self, start: float, end: float) -> np.ndarray:
        """(n,) bool: from start to end, both included."""
        return (self.t >= start - 1e-9) & (self.t <= end + 1e-9)

    def middle(self, name: str) -> np.ndarray:
        """(n, 3) between the left and the right joint of that name."""
        return 0.5 * (self.j[f"left_{name}"] + self.j[f"right_{name}"])

    def touching(self, name: str) -> np.ndarray:
        """(n,) bool: "left_hand", "right_foot" and so on is on the floor."""
        return self.low[f"{name}_low"] < TOUCHING

    def index(self, at: float) -> int:
        """The frame nearest to a time in seconds."""
        return int(np.argmin(np.abs(self.t - at)))

    @property
    def hold(self) -> tuple[float, float]:
        """(start, end) s. Raises ValueError for a skill that is not held."""
        if self.span.hold is None:
            raise ValueError(f"A {self.span.skill} needs to say when it is held.")
        return self.span.hold

    @property
    def leg(self) -> float:
        """Metres from hip over knee to ankle."""
        return float(sum(np.linalg.norm(self.j[f"left_{a}"][0] - self.j[f"left_{b}"][0]) for a, b in (("hip", "knee"), ("knee", "ankle"))))


def unit(v: np.ndarray) -> np.ndarray:
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def between(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """(n,) degrees between directions, 0..180; from the cross and the dot product."""
    return np.degrees(np.arctan2(np.linalg.norm(np.cross(u, v), axis=-1), np.sum(u * v, axis=-1)))


def angle(a: np.ndarray, vertex: np.ndarray, c: np.ndarray) -> np.ndarray:
    """(n,) degrees between vertex->a and vertex->c, 0..180."""
    return between(a - vertex, c - vertex)


def across(j: Joints, joint: str = "hip") -> np.ndarray:
    """(n, 3) unit direction from the right to the left hip (or shoulder)."""
    return unit(j[f"left_{joint}"] - j[f"right_{joint}"])


def side_plane(j: Joints, v: np.ndarray) -> np.ndarray:
    """(n, 3) directions v with their part along the line between the hips taken out."""
    aside = across(j)
    return v - aside * np.sum(v * aside, axis=-1, keepdims=True)


def directed(j: Joints, a: np.ndarray, vertex: np.ndarray, c: np.ndarray) -> np.ndarray:
    """(n,) angle at vertex from a round the front of the body to c in the side plane, 0..360: below 180 folds forward.

    Positive turn about the body's left axis (right hip -> left hip) takes up into forward, so the fold from the upper
    point a to the lower point c counts round the front.
    """
    u, v = side_plane(j, a - vertex), side_plane(j, c - vertex)
    return np.mod(np.degrees(np.arctan2(np.sum(np.cross(u, v) * across(j), axis=-1), np.sum(u * v, axis=-1))), 360)


def facing(j: Joints) -> np.ndarray:
    """(n,) degrees about the vertical, counter-clockwise from above and never jumping, that the hips face."""
    aside = across(j)  # to the left; ahead is a quarter turn clockwise of it
    return np.degrees(np.unwrap(np.arctan2(-aside[:, 0], aside[:, 1])))
