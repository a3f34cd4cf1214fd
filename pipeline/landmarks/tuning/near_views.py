"""Near views of crops: so many trunks wide, the trunk upright, the middle of the hips in the middle (torch)."""

from __future__ import annotations

import torch

from .labels import SIZE
from .views import View

LEAST_TRUNK = 4.0  # pixels; a shorter one is seen end on
ZOOM, OFF = 0.09, 6.0  # how much larger or smaller, a logarithm; pixels that the hips are beside the middle, a deviation


def near_view(xy: torch.Tensor, wide: float, *, degrees: float = 6.0, loose: float = 1.0, flip: bool = True) -> View:
    """Views of crops whose points are xy (b, 33, 2), `wide` trunks a side; up to `degrees` off, `loose` times ZOOM and OFF.

    flip: half of them mirrored.
    """
    b, device = len(xy), xy.device
    shoulders, hips = xy[:, [11, 12]].mean(1), xy[:, [23, 24]].mean(1)
    up = shoulders - hips
    scale = SIZE / (wide * up.norm(dim=-1).clamp(min=LEAST_TRUNK))
    view = View.random(b, device, degrees=degrees, zoom=ZOOM * loose, shift=0.0, flip=flip)
    back = torch.atan2(up[:, 0], -up[:, 1])  # how far the trunk is turned, clockwise
    c, s = torch.cos(back), torch.sin(back)
    upright = torch.stack([torch.stack([c, s], -1), torch.stack([-s, c], -1)], -2)
    turn = view.turn @ upright * scale[:, None, None]
    shift = -(turn @ (hips - SIZE / 2)[:, :, None])[:, :, 0] + torch.randn(b, 2, device=device) * OFF * loose
    return View(turn, shift, view.zoom * scale, view.flipped)
