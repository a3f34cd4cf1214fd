"""Which cartwheel knees bend within the picture's plane, from the joints in space: those that one phone can show.

A knee's bend is the knee's way off the line from hip to ankle; its part along the view is what the picture does not show. In plane is a
leg whose bend, at its most bent over the window, goes towards the camera or away from it by IN_PLANE degrees at most: 180 less the knee's
angle, times the share of that way that lies along the view. So a straight leg counts as in plane whichever way its last degrees go.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.bench.follow_check import read_truth
from pipeline.geometry import joint_angle
from pipeline.landmarks.track import INDEX
from pipeline.vocabulary import Skill

IN_PLANE = 10.0  # degrees
COLUMN = "toward"


def view_directions(xy: np.ndarray, world: np.ndarray) -> np.ndarray:
    """(n, 3) unit vectors along the view, in space: across both directions of the picture, as the affine map that best takes each frame's
    joints in space (n, 33, 3) to the picture (n, 33, 2) has them."""
    away = world - world.mean(axis=1, keepdims=True)
    rows = np.stack([np.linalg.lstsq(a, p - p.mean(axis=0), rcond=None)[0].T for a, p in zip(away, xy, strict=True)])
    along = np.cross(rows[:, 0], rows[:, 1])
    return along / np.linalg.norm(along, axis=-1, keepdims=True)


def bend_toward(xy: np.ndarray, world: np.ndarray, side: str) -> tuple[np.ndarray, np.ndarray]:
    """((n,) degrees a knee is bent, (n,) how much of it goes towards the camera or away from it)."""
    hip, knee, ankle = (world[:, INDEX[f"{side}_{part}"]] for part in ("hip", "knee", "ankle"))
    leg = (ankle - hip) / np.linalg.norm(ankle - hip, axis=-1, keepdims=True)
    off = (knee - hip) - leg * np.sum((knee - hip) * leg, axis=-1, keepdims=True)
    far = np.maximum(np.linalg.norm(off, axis=-1), 1e-9)
    bent = 180.0 - joint_angle(hip, knee, ankle)
    return bent, bent * np.abs(np.sum(off * view_directions(xy, world), axis=-1)) / far


def with_toward(table: pd.DataFrame, folder: Path) -> pd.DataFrame:
    """A truth table with a column of the degrees towards the camera of each cartwheel's knees; NaN of all else, and of clips without joints."""
    out = np.full(len(table), np.nan)
    knees = ((table.skill == str(Skill.CARTWHEEL)) & (table.detail == "knee_angle")).to_numpy()
    for stem in pd.unique(table["clip"][knees]):
        file = folder / "truth" / f"{stem}.csv"
        if not file.is_file():
            continue
        t, xy, world = read_truth(file)
        for i in np.flatnonzero(knees & (table["clip"] == stem).to_numpy()):
            row = table.iloc[i]
            window = (t >= row.key_start_s - 1e-3) & (t <= row.key_end_s + 1e-3)
            if window.any():
                bent, toward = bend_toward(xy[window], world[window], str(row.side))
                out[i] = toward[np.argmax(bent)]
    return table.assign(**{COLUMN: out})


def in_plane(toward: pd.Series) -> np.ndarray:
    """(n,) bool of that column's values; true where nothing is known of it, as of all other details."""
    return ~(toward.to_numpy(float) > IN_PLANE)
