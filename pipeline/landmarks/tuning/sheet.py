"""A sheet of drawn crops to look at: one row a kind, every other crop with its labels drawn in."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from .bodies import Bodies
from .draw import Artist
from .poses import Kind

BONES = (
    (11, 13),
    (13, 15),
    (12, 14),
    (14, 16),
    (11, 12),
    (11, 23),
    (12, 24),
    (23, 24),
    (23, 25),
    (25, 27),
    (24, 26),
    (26, 28),
    (27, 31),
    (28, 32),
)


def with_skeleton(image: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """A copy of an RGB crop with the limbs of (33, 2) points drawn in: left side green, right side red."""
    out = np.ascontiguousarray(image)
    for a, b in BONES:
        ends = [tuple(round(float(v)) for v in xy[k]) for k in (a, b)]
        cv2.line(out, *ends, (0, 220, 0) if a % 2 else (230, 0, 0), 1, cv2.LINE_AA)
    return out


def draw_sheet(out: Path, bodies: Path, *, each: int, seed: int) -> None:
    """Write the sheet; the last row has nobody in it."""
    people = Bodies.load(bodies)
    artist = Artist(people, people.members(held_out=False), seed)
    rows = []
    for kind in Kind:
        row = []
        for k in range(each):
            image, label = artist.draw(kind)
            row.append(with_skeleton(image, label["xy"]) if k % 2 == 0 else image)
        rows.append(np.hstack(row))
    rows.append(np.hstack([artist.draw_nobody()[0] for _ in range(each)]))
    cv2.imwrite(str(out), np.vstack(rows)[:, :, ::-1])
