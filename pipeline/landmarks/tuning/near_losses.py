"""What the near look is asked for: drawn holds by their labels and true angles, real crops by what heavier models see in them (torch).

Points, heatmaps and points in space are trained; depth in the picture, presence, the silhouette and what points say of themselves are
neither trained nor held, so these outputs are worth nothing in a file made so. Both functions return weighted parts by name.
"""

from __future__ import annotations

from collections.abc import Callable

import torch
import torch.nn.functional as F

from pipeline.landmarks.near_angles import ANGLES

from .labels import SIZE
from .losses import REAL_WEIGHT, WEIGHT, discs, heatmap_loss, refined_loss, smooth, weighted_mean
from .near_angles import in_crop, seen_angles, true_angles, turned
from .near_net import STEP, AngleHead, Look
from .near_views import near_view
from .poses import Kind
from .teach import sharp
from .views import colour, restyle
from .world import metres

# degrees: an angle seen further off than that is on other points; a knee may bend towards the phone
FARTHEST = (40.0, 40.0, 90.0, 40.0) * 2
REAL_DEGREES, REAL_LOOSE = 25.0, 1.5  # how freely real crops are turned, zoomed and moved
_NEAR_WEIGHT = WEIGHT.clone()
_NEAR_WEIGHT[[11, 12, 23, 24, 25, 26]], _NEAR_WEIGHT[[13, 14, 27, 28]] = 2.0, 1.5


def near_drawn_loss(look: Look, known: dict, head: AngleHead, *, angle_weight: float = 0.3) -> dict[str, torch.Tensor]:
    """look: at drawn crops; known: labels.split, moved with them."""
    xy = known["xy"]
    within = ((xy > 0) & (xy < SIZE)).all(-1).float()
    weight = _NEAR_WEIGHT.to(xy.device) * known["marked"] * torch.where(within > 0, 1.0, 0.05)
    weight = weight * torch.where(known["framed"] > 0, 1.0, 0.3) * torch.where(known["seen"] == 0, 0.7, 1.0)
    target, trusted = _with_two_more(xy, weight * within)
    return {
        "xy": weighted_mean(smooth(look.points[:, :33, :2], xy, 1.0).sum(-1), weight),
        "refined": refined_loss(look.refined, look.used, xy, weight, 1.0),
        "heatmap": 0.6 * heatmap_loss(look.heatmap, discs(target), trusted),
        "world": 6 * weighted_mean(smooth(look.world[:, :33], metres(known), 0.05).sum(-1), weight),
        "angle": angle_weight * _angle_loss(look, known, head, within),
    }


def _angle_loss(look: Look, known: dict, head: AngleHead, within: torch.Tensor) -> torch.Tensor:
    """Degrees that seen angles with what the head adds are off; the head's word moves the network, the points' own place does not."""
    true, _ = true_angles(known["world"], known["xy"])
    off = torch.rad2deg(turned(seen_angles(look.refined).detach() - true))
    sure = (off.abs() < torch.tensor(FARTHEST, device=off.device)).float() * in_crop(within) * _asked(known["kind"])
    left = head(look.features()) * STEP + off
    return (F.smooth_l1_loss(left, torch.zeros_like(left), reduction="none", beta=2.0) * sure).sum() / (sure.sum() + 1)


def _asked(kind: torch.Tensor) -> torch.Tensor:
    """(b, 8) 1 where an angle is one that skills of that Kind are measured by: of a cartwheel, seen from the front, the knees alone."""
    knees = torch.tensor([float(name == "knee") for name in ANGLES] * 2, device=kind.device)
    return torch.where((kind == list(Kind).index(Kind.CARTWHEEL))[:, None], knees, torch.ones_like(knees))


def near_real_loss(look: Callable[[torch.Tensor], Look], wide: torch.Tensor, taught: dict, near: float) -> dict[str, torch.Tensor]:
    """look: the student; wide: real crops (b, 3, 384, 384) in 0..1; taught: teach.Taught of them; near: trunks a side of the view."""
    b = len(wide)
    with torch.no_grad():
        view = near_view(taught["xy"], near, degrees=REAL_DEGREES, loose=REAL_LOOSE)
        xy = view.sides(view.points(taught["xy"]))
        sure, spread = view.sides(taught["sure"]), view.sides(taught["spread"])
        x = colour(restyle(view.picture(wide))).clamp(0, 1)
    seen = look(x)
    within = ((xy > 0) & (xy < SIZE)).all(-1).float()
    good = (taught["person"] > 0.8).float()
    weight = REAL_WEIGHT.to(xy.device) * sharp(spread) * within * (0.2 + 0.8 * sure) * good
    target, trusted = _with_two_more(xy, weight)
    confident = torch.cat([sure, torch.ones(b, 2, device=xy.device)], 1)[..., None, None].clamp(0.3, 1)
    return {
        "real_xy": weighted_mean(smooth(seen.points[:, :33, :2], xy, 2.0).sum(-1), weight),
        "real_refined": refined_loss(seen.refined, seen.used, xy, weight, 2.0),
        "real_heatmap": 0.6 * heatmap_loss(seen.heatmap, discs(target) * confident, trusted),
    }


def _with_two_more(xy: torch.Tensor, weight: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """Points (b, 35, 2) and weights (b, 35) of as many as there are heatmaps to learn; the last two, which steer crops, weigh nothing."""
    return torch.cat([xy, xy[:, :2]], 1), torch.cat([weight, torch.zeros_like(weight[:, :2])], 1)
