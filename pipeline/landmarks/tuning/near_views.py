"""Near views of crops: so many trunks wide, the trunk upright, round the middle of the hips, a knee or the middle of the shoulders (torch)."""

from __future__ import annotations

from enum import IntEnum

import torch

from .labels import SIZE
from .views import View

LEAST_TRUNK = 4.0  # pixels; a shorter one is seen end on


class Centre(IntEnum):
    """What lies in the middle of a near view."""

    HIPS = 0
    LEFT_KNEE = 1
    RIGHT_KNEE = 2
    SHOULDERS = 3


SHARE = {Centre.HIPS: 0.5, Centre.LEFT_KNEE: 0.15, Centre.RIGHT_KNEE: 0.15, Centre.SHOULDERS: 0.2}
ZOOM, OFF = 0.09, 5.0  # how much larger or smaller, a logarithm; pixels that the centre is beside the middle, a deviation


def centres(xy: torch.Tensor) -> torch.Tensor:
    """(b, 4, 2) where each Centre lies, of points (b, 33, 2)."""
    return torch.stack([xy[:, [23, 24]].mean(1), xy[:, 25], xy[:, 26], xy[:, [11, 12]].mean(1)], 1)


def near_view(
    xy: torch.Tensor, wide: float, *, degrees: float = 6.0, loose: float = 1.0, flip: bool = True, centre: Centre | None = None
) -> View:
    """Views of crops whose points are xy (b, 33, 2), `wide` trunks a side; up to `degrees` off, `loose` times ZOOM and OFF.

    flip: half of them mirrored. centre: of all of them; None draws one for each by SHARE.
    """
    b, device = len(xy), xy.device
    around = centres(xy)
    up = around[:, Centre.SHOULDERS] - around[:, Centre.HIPS]
    scale = SIZE / (wide * up.norm(dim=-1).clamp(min=LEAST_TRUNK))
    view = View.random(b, device, degrees=degrees, zoom=ZOOM * loose, shift=0.0, flip=flip)
    if centre is None:
        which = torch.multinomial(torch.tensor(list(SHARE.values()), device=device), b, replacement=True)
    else:
        which = torch.full((b,), int(centre), device=device)
    at = around[torch.arange(b, device=device), which]
    back = torch.atan2(up[:, 0], -up[:, 1])  # how far the trunk is turned, clockwise
    c, s = torch.cos(back), torch.sin(back)
    upright = torch.stack([torch.stack([c, s], -1), torch.stack([-s, c], -1)], -2)
    turn = view.turn @ upright * scale[:, None, None]
    shift = -(turn @ (at - SIZE / 2)[:, :, None])[:, :, 0] + torch.randn(b, 2, device=device) * OFF * loose
    return View(turn, shift, view.zoom * scale, view.flipped)
