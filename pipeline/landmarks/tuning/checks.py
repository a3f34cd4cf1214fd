"""How a network does on drawn bodies that were never trained on. A quick look while training; real rulers are in evaluate.py."""

from __future__ import annotations

import numpy as np
import torch

from .heatmap import refine
from .labels import SIZE, split
from .network import HEATMAP, PERSON, POINTS, LandmarkNet
from .poses import Kind

KNEES, HIPS = ((23, 25, 27), (24, 26, 28)), ((11, 23, 25), (12, 24, 26))


def included_angle(xy: np.ndarray, corners: tuple[int, int, int]) -> np.ndarray:
    """(n, k, 2) -> (n,) degrees at the middle corner, 0..180."""
    u, v = xy[:, corners[0]] - xy[:, corners[1]], xy[:, corners[2]] - xy[:, corners[1]]
    return np.degrees(np.arctan2(abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]), (u * v).sum(1)))


@torch.no_grad()
def predict(network: LandmarkNet, pictures: np.ndarray, device: str, *, batch: int = 100) -> tuple[np.ndarray, np.ndarray]:
    """Refined points (n, 39, 2) crop pixels and presence (n,) of uint8 RGB crops."""
    points, presence = [], []
    for k in range(0, len(pictures), batch):
        x = torch.from_numpy(np.ascontiguousarray(pictures[k : k + batch])).to(device).permute(0, 3, 1, 2).float() / 255
        raw, person, heatmap = network(x, want=(POINTS, PERSON, HEATMAP))
        points.append(refine(raw.reshape(-1, 39, 5).float(), heatmap.float())[0].cpu().numpy())
        presence.append(person[:, 0].float().cpu().numpy())
    return np.concatenate(points), np.concatenate(presence)


def check_figures(network: LandmarkNet, pictures: np.ndarray, labels: np.ndarray, device: str, *, offset: bool = False) -> dict:
    """By kind: median error of the main joints (% of torso), mean errors of knee and hip angles (degrees), share called a person.

    offset: the network marks the family's points; move them to joint centres by the known offset before comparing.
    """
    known, (points, presence) = split(labels), predict(network, pictures, device)
    xy = points[:, :33] - known["family"] if offset else points[:, :33]
    inside = (known["xy"] > 0).all(2) & (known["xy"] < SIZE).all(2) & (known["framed"] > 0)
    error = np.linalg.norm(xy - known["xy"], axis=2) / np.maximum(known["torso"], 8)[:, None] * 100
    figures = {}
    for k, kind in enumerate(Kind):
        of = known["kind"] == k
        row = {"person": float((presence[of] > 0.5).mean())}
        for name, pair in (("shoulder", (11, 12)), ("hip", (23, 24)), ("knee", (25, 26)), ("ankle", (27, 28))):
            row[name] = float(np.median(error[of][:, pair][inside[of][:, pair]]))
        for name, sides in (("knee_angle", KNEES), ("hip_angle", HIPS)):
            off = [abs(included_angle(xy, c) - included_angle(known["xy"], c))[of & inside[:, c].all(1)] for c in sides]
            row[name] = float(np.mean(np.concatenate(off)))
        figures[str(kind)] = {name: round(value, 2) for name, value in row.items()}
    return figures
