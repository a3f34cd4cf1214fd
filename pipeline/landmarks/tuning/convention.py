"""Where the model family marks its points against anatomical joint centres, and moving the one to the other.

Measured on drawn upright bodies, where the original is at its best: metres of a 1.6 m body, in the frame of the segment that carries
the point (outward to the body's side, back, up along the segment). Shoulders lie about 7 % of the torso high, hips 6 % to the front.
"""

from __future__ import annotations

import numpy as np

from .labels import JOINTS

_ONE_SIDE = {  # left landmark: (outward, back, up); the right one mirrors it
    0: (0.0, 0.015, 0.010), 1: (-0.002, 0.013, 0.001), 2: (-0.006, 0.018, 0.0), 3: (-0.011, 0.025, -0.001), 7: (-0.040, -0.045, -0.003),
    9: (-0.009, 0.009, 0.015), 11: (-0.003, -0.004, 0.030), 13: (-0.015, -0.008, 0.016), 15: (-0.006, -0.002, 0.003), 17: (-0.018, -0.007, 0.022),
    19: (-0.009, 0.029, -0.002), 21: (0.019, 0.013, -0.012), 23: (-0.009, -0.026, -0.008), 25: (-0.001, -0.004, 0.001), 27: (0.003, -0.002, 0.022),
    29: (-0.003, -0.024, -0.007), 31: (0.010, 0.026, 0.015),
}  # fmt: skip
_MIRROR = {0: 0, 1: 4, 2: 5, 3: 6, 7: 8, 9: 10} | {k: k + 1 for k in range(11, 33, 2)}
MODEL_HEIGHT = 1.65  # metres: the family's world landmarks give everyone about this height


def offsets() -> np.ndarray:
    """(33, 3) metres of a 1.6 m body: from the anatomical point to where the family marks it."""
    out = np.zeros((33, 3))
    for left, (outward, back, up) in _ONE_SIDE.items():
        out[left] = outward, back, up
        if _MIRROR[left] != left:
            out[_MIRROR[left]] = -outward, back, up
    return out


def mirror_order() -> list[int]:
    """For each landmark, its partner on the other side."""
    order = list(range(33))
    for left, right in _MIRROR.items():
        order[left], order[right] = right, left
    return order


def to_joint_centres(xy, world, *, scale: float = MODEL_HEIGHT / 1.6):
    """Move the family's twelve main points to anatomical joint centres (torch).

    xy : (b, 33, 2) crop pixels as the model gives them, refined; world : (b, 33, 3) its world landmarks, x right, y down, z away.
    Returns (b, 33, 2); the other points are unchanged.
    """
    import torch

    def unit(v):
        return v / (v.norm(dim=-1, keepdim=True) + 1e-6)

    joints, table = list(JOINTS), torch.tensor(offsets(), device=xy.device, dtype=xy.dtype)
    seen, model = xy - xy[:, 11:29].mean(1, keepdim=True), world[..., :2] - world[:, 11:29, :2].mean(1, keepdim=True)
    pixels_per_metre = ((seen[:, joints] * model[:, joints]).sum((1, 2)) / (model[:, joints].pow(2).sum((1, 2)) + 1e-6)).clamp(10, 400)
    across, up = unit(world[:, 23] - world[:, 24]), unit(world[:, 11] + world[:, 12] - world[:, 23] - world[:, 24])
    front = unit(torch.linalg.cross(across, up))
    across = torch.linalg.cross(up, front)
    shift = torch.zeros_like(world)
    for j in (11, 12, 23, 24):
        shift[:, j] = table[j, 0] * across - table[j, 1] * front + table[j, 2] * up
    for j, start in ((13, 11), (14, 12), (15, 13), (16, 14), (27, 25), (28, 26)):  # along the limb alone: its twist is not known
        shift[:, j] = table[j, 2] * unit(world[:, start] - world[:, j])
    moved = xy.clone()
    moved[:, joints] = xy[:, joints] - shift[:, joints, :2] * pixels_per_metre[:, None, None] * scale
    return moved
