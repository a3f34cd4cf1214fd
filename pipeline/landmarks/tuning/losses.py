"""What a student is asked for: drawn crops by their labels, real crops by what heavier models see in them (torch).

Both return the weighted parts by name; the loss is their sum. Points are weighted by what our skills are measured with.
"""

from __future__ import annotations

import torch
import torch.nn.functional as F

from .heatmap import refine
from .labels import SIZE
from .teach import sharp
from .views import View, colour, restyle
from .world import metres, shape_loss

DEPTH_GAIN = 2.5  # the original's z per crop pixel, measured on drawn bodies
ANGLES = ((11, 23, 25), (12, 24, 26), (23, 25, 27), (24, 26, 28))  # hips and knees
WEIGHT = torch.full((33,), 0.3)
WEIGHT[[1, 3, 4, 6, 9, 10]], WEIGHT[[13, 14, 15, 16]], WEIGHT[[11, 12, 23, 24, 25, 26, 27, 28]], WEIGHT[[29, 30, 31, 32]] = (
    0.2,
    1.0,
    1.5,
    0.7,
)
REAL_WEIGHT = WEIGHT.clone()  # drawn limbs carry over to real ones less well than drawn trunks: real crops teach limbs most
REAL_WEIGHT[[13, 14, 15, 16, 25, 26, 27, 28]], REAL_WEIGHT[[29, 30, 31, 32]] = 2.2, 1.2
_SHOULDERS_HIPS = [11, 12, 23, 24]


def smooth(a: torch.Tensor, b: torch.Tensor, beta: float) -> torch.Tensor:
    """The absolute difference, rounded off below `beta`."""
    return F.smooth_l1_loss(a, b, reduction="none", beta=beta)


def _bce(p: torch.Tensor, target: torch.Tensor) -> torch.Tensor:
    return F.binary_cross_entropy(p.float().clamp(1e-6, 1 - 1e-6), target.float(), reduction="none")


def weighted_mean(values: torch.Tensor, weight: torch.Tensor) -> torch.Tensor:
    """Mean of values by weights of the same shape; 0 where nothing weighs."""
    return (values * weight).sum() / (weight.sum() + 1e-6)


def discs(points: torch.Tensor) -> torch.Tensor:
    """(b, k, 2) crop pixels -> (b, k, 64, 64) heatmaps with the original's mean profile: a disc of 1.8 cells with a soft edge."""
    cells, at = torch.arange(64, device=points.device, dtype=torch.float32), points / 4
    away = torch.sqrt(
        (cells[None, None, None, :] - at[:, :, 0, None, None]) ** 2 + (cells[None, None, :, None] - at[:, :, 1, None, None]) ** 2 + 1e-6
    )
    return torch.sigmoid((1.8 - away) * 3.0)


def refined_loss(refined: torch.Tensor, used: torch.Tensor, xy: torch.Tensor, weight: torch.Tensor, beta: float) -> torch.Tensor:
    """How far refined points (b, 39, 2) lie from xy (b, 33, 2), of those that a heatmap moved: `used` (b, 39)."""
    return (smooth(refined[:, :33], xy, beta).sum(-1) * weight * used[:, :33].float()).sum() / (weight.sum() + 1e-6)


def heatmap_loss(heatmap: torch.Tensor, target: torch.Tensor, weight: torch.Tensor) -> torch.Tensor:
    """How far heatmaps (b, 64, 64, >= 35 logits) are from targets (b, 35, 64, 64), by weights (b, 35)."""
    found = F.binary_cross_entropy_with_logits(heatmap[..., :35].permute(0, 3, 1, 2).float(), target, reduction="none")
    return weighted_mean(found.sum((2, 3)), weight) / 10


def _angles_loss(got: torch.Tensor, want: torch.Tensor, trust: torch.Tensor) -> torch.Tensor:
    """1 - cos of the error of directed hip and knee angles, less where a segment is short in the picture. trust (b, 33)."""
    total = got.new_zeros(())
    for a, b, c in ANGLES:
        u, v, p, q = got[:, a] - got[:, b], got[:, c] - got[:, b], want[:, a] - want[:, b], want[:, c] - want[:, b]
        seen = torch.atan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(1) + 1e-6)
        true = torch.atan2(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0], (p * q).sum(1) + 1e-6)
        long = torch.minimum(p.norm(dim=1), q.norm(dim=1)).clamp(0, 24) / 24 * (torch.minimum(u.norm(dim=1), v.norm(dim=1)) > 4)
        total = total + ((1 - torch.cos(seen - true)) * long * trust[:, [a, b, c]].amin(1)).mean()
    return total


def _coarse(mask: torch.Tensor) -> torch.Tensor:
    return torch.sigmoid(F.avg_pool2d(mask.permute(0, 3, 1, 2).float(), 4))


def drawn_loss(
    student: list, original: list, known: dict, *, world_weight: float = 8.0, shape_weight: float = 0.0
) -> dict[str, torch.Tensor]:
    """student, original: both networks' outputs on the same drawn crops; known: labels.split, moved with the crops.

    Joints, depth, heatmaps and world points come from the labels; what the labels do not know (mask, presence of nobody, the last
    auxiliary points) is held where the original has it. A mask that is None is not asked for. shape_weight: of angles and bones in space.
    """
    points, person, mask, heatmap, world = student
    points0, person0, mask0, heatmap0, world0 = original
    b, device = len(points), points.device
    points, points0, world, world0 = points.reshape(b, 39, 5), points0.reshape(b, 39, 5), world.reshape(b, 39, 3), world0.reshape(b, 39, 3)
    xy, seen, framed, somebody = known["xy"], known["seen"], known["framed"], known["person"][:, None]
    steered = somebody * known["marked"].amin(1, keepdim=True)  # the steering points come from the whole body
    easy = (known["easy"] * known["whole"] * known["person"])[:, None]
    within = ((xy > -12) & (xy < SIZE + 12)).all(-1).float()
    in_crop = ((xy > 0) & (xy < SIZE)).all(-1)
    hidden = torch.where(seen == 0, 0.5, 1.0)
    weight = (
        WEIGHT.to(device) * known["marked"] * somebody * torch.where(within > 0, 1.0, 0.15) * hidden * torch.where(framed > 0, 1.0, 0.3)
    )

    refined, used, _ = refine(points.float(), heatmap.float())
    out = {
        "xy": weighted_mean(smooth(points[:, :33, :2], xy, 2.0).sum(-1), weight),
        "refined": refined_loss(refined, used, xy, weight, 2.0),
        "z": 0.15 * weighted_mean(smooth(points[:, :33, 2] / DEPTH_GAIN, known["z"], 4.0), weight),
        "heatmap": 0.6
        * heatmap_loss(heatmap, discs(torch.cat([xy, known["aux"]], 1)), torch.cat([weight * framed, steered.expand(-1, 2) * 0.3], 1)),
        "aux": 0.5 * (smooth(points[:, 33:35, :2], known["aux"], 2.0).sum(-1) * steered).mean(),
        "angle": 12 * _angles_loss(refined[:, :33], xy, within * hidden * somebody),
    }

    # What each point says of itself: seen, hidden, in the crop. Where the labels cannot tell, the original's word stands.
    visible = torch.sigmoid(points0[:, :33, 3])
    trunk = torch.zeros(33, device=device)
    trunk[_SHOULDERS_HIPS] = 1  # the original calls these visible even when turned away
    target = torch.where(seen == 1, visible.clamp(min=0.93), torch.where((seen == 0) & (trunk == 0), visible.clamp(max=0.35), visible))
    target = torch.where(trunk == 1, visible.clamp(min=0.97), target)
    target = torch.where(in_crop & (somebody > 0), target, visible)
    out["visible"] = F.binary_cross_entropy_with_logits(points[:, :33, 3], target)
    present = torch.sigmoid(points0[:, :33, 4])
    present = torch.where(in_crop & (somebody > 0) & (framed > 0), present.clamp(min=0.995), present)
    out["present"] = 0.5 * F.binary_cross_entropy_with_logits(points[:, :33, 4], present)
    out["rest"] = 0.05 * F.smooth_l1_loss(points[:, 33:, 3:], points0[:, 33:, 3:])

    # Presence: sure where the trunk is in the crop; without people exactly as low as the original.
    good = (somebody > 0) & (within[:, [*_SHOULDERS_HIPS, 25, 26]].mean(1, keepdim=True) > 0.7)
    there = torch.where(good, person0.clamp(min=0.9), person0)
    strict = somebody + 4 * (1 - somebody)
    out["person"] = 0.5 * ((_bce(person, there) - _bce(there, there)) * strict).mean()
    blank = (torch.sigmoid(heatmap.float()) - torch.sigmoid(heatmap0.float())).square().sum((1, 2)).mean(1)
    out["blank"] = 0.2 * (blank * (1 - somebody[:, 0])).mean()

    # Held to the original: the last auxiliary points, the mask, and on easy crops depth and world points too.
    spare = (torch.sigmoid(heatmap[..., 35:].float()) - torch.sigmoid(heatmap0[..., 35:].float())).square().sum((1, 2)).mean()
    out["spare"] = 0.1 * ((smooth(points[:, 35:, :3], points0[:, 35:, :3], 4.0).sum(-1) * easy).mean() + spare)
    if mask is not None:
        out["mask"] = 2 * F.l1_loss(_coarse(mask), _coarse(mask0))
    space = metres(known)
    out["world"] = world_weight * weighted_mean(smooth(world[:, :33], space, 0.05).sum(-1), weight)
    if shape_weight:
        out |= {k: shape_weight * v for k, v in shape_loss(world, space, within * hidden * somebody).items()}
    else:
        out["world_easy"] = 2 * (smooth(world, world0, 0.05).sum(-1) * easy).mean()
    out["z_easy"] = 0.02 * (smooth(points[:, :33, 2], points0[:, :33, 2], 10.0) * easy).mean()
    return out


def real_loss(student, weights: dict, wide: torch.Tensor, taught: dict, nobody: torch.Tensor) -> dict[str, torch.Tensor]:
    """wide: real crops (b, 3, 384, 384) whose middle 256 hold the person; taught: teach.Taught of them; nobody: crops without people.

    The teachers looked at the crop nearly upright; the student sees it turned further, zoomed, recoloured, and at times with the person
    cut out and put before another background. A turned view has the same joints, so the student learns real bodies at tilts where the
    teachers themselves are lost.
    """
    b, device = len(wide), wide.device
    with torch.no_grad():
        view = View.random(b, device, degrees=34, zoom=0.25, shift=16, any_turn=0.1)
        xy, aux = view.sides(view.points(taught["xy"])), view.points(taught["aux"])
        world = view.sides(view.world(taught["world"]))
        sure, spread, own = (view.sides(taught[k]) for k in ("sure", "spread", "own"))
        x, mask = view.picture(wide), view.picture(whole_mask(taught["mask"]))
        if len(nobody):
            filled = mask.mean((1, 2, 3))
            swap = (torch.rand(b, device=device) < 0.35) & (filled > 0.04) & (filled < 0.6)
            behind = nobody[torch.randint(len(nobody), (b,), device=device)]
            x = torch.where(swap[:, None, None, None], x * mask + behind * (1 - mask), x)
        x = colour(restyle(x))
    points, person, mask_, heatmap, world_ = (v if v is None else v.float() for v in student(x, weights=weights))
    points = points.reshape(b, 39, 5)
    good = (taught["person"] > 0.8).float()
    within = ((xy > 0) & (xy < SIZE)).all(-1).float()
    weight = REAL_WEIGHT.to(device) * sharp(spread / view.zoom[:, None].clamp(max=1)) * within * (0.2 + 0.8 * sure) * good
    refined, used, _ = refine(points, heatmap)
    wanted = discs(torch.cat([xy, aux], 1)) * torch.cat([sure, torch.ones(b, 2, device=device)], 1)[..., None, None].clamp(0.3, 1)
    held = torch.sigmoid(own)
    return {
        "real_xy": weighted_mean(smooth(points[:, :33, :2], xy, 2.0).sum(-1), weight),
        "real_refined": refined_loss(refined, used, xy, weight, 2.0),
        "real_heatmap": 0.6 * heatmap_loss(heatmap, wanted, torch.cat([weight, good.expand(-1, 2) * 0.3], 1)),
        "real_aux": 0.5 * (smooth(points[:, 33:35, :2], aux, 2.0).sum(-1) * good).mean(),
        "real_own": 0.5 * (F.binary_cross_entropy_with_logits(points[:, :33, 3:], held, reduction="none") * within[..., None]).mean(),
        "real_person": 0.5 * _bce(person, torch.maximum(taught["person"], 0.9 * good)).mean(),
        **({} if mask_ is None else {"real_mask": 2 * F.l1_loss(_coarse(mask_), F.avg_pool2d(mask, 4))}),
        "real_world": 8 * weighted_mean(smooth(world_.reshape(b, 39, 3)[:, :33], world, 0.05).sum(-1), weight),
    }


def whole_mask(mask: torch.Tensor) -> torch.Tensor:
    """(b, n, n) bytes -> (b, 1, 256, 256), 1 on the person."""
    return F.interpolate(mask[:, None].float() / 255, size=(SIZE, SIZE), mode="bilinear", align_corners=False)
