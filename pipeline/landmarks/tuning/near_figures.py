"""How the near look does on drawn poses of bodies that were never trained on, by skill (torch)."""

from __future__ import annotations

import numpy as np
import torch

from pipeline.landmarks.near_angles import ANGLES

from .labels import SIZE, split
from .near_angles import in_crop, other_side, seen_angles, true_angles, turned
from .near_net import STEP, AngleHead, Look, NearNet
from .near_store import FINE, NearStore
from .near_views import near_view
from .poses import Kind
from .views import carried

DEGREES, LOOSE = 2.4, 0.4  # how far the views are off, as those of a hold that was followed
POINTS = {"shoulders": (11, 12), "hips": (23, 24), "knees": (25, 26)}
LEAST = 5  # crops for a figure
SEED = 5
FARTHEST = 40.0  # degrees: no error counts for more


def pictures(crops: np.ndarray | torch.Tensor, device: str) -> torch.Tensor:
    """(b, s, s, 3) bytes -> (b, 3, s, s) in 0..1 on the device."""
    return torch.as_tensor(crops).to(device, non_blocking=True).permute(0, 3, 1, 2).float() / 255


def near_figures(
    net: NearNet, head: AngleHead | None, store: NearStore, wide: float, device: str, *, most: int = 600, batch: int = 100
) -> dict:
    """By Kind: mean angle errors and distances of points on up to `most` crops of the store's `check`, each looked at plain and mirrored.

    angles: degrees, of the mean of both looks by points alone, the kind's median taken off; of the leg at the back in a lunge, of the side
    nearer to the camera in a stand, of the left one in a cartwheel. told: the same with what the head adds. points: % of the trunk, plain
    look. Only what lies in the view counts; None: in too few crops.
    """
    ring = store.check
    slots = ring.kept(ring.drawn())[:most]
    with torch.random.fork_rng([device] if device.startswith("cuda") else []), torch.no_grad():
        torch.manual_seed(SEED)
        parts = [_part(net, head, ring, slots[k : k + batch], wide, device) for k in range(0, len(slots), batch)]
    if not parts:
        return {}
    rows = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    return {str(kind): _figures(rows, k) for k, kind in enumerate(Kind) if (rows["kind"] == k).any()}


def _part(net: NearNet, head: AngleHead | None, ring, slots: np.ndarray, wide: float, device: str) -> dict[str, np.ndarray]:
    """kind (n,), angles and told (n, 4) degrees off, points (n, 33) % of the trunk off; NaN where they do not lie in the view."""
    known = split(torch.from_numpy(np.array(ring.labels[slots])).to(device))
    view = near_view(known["xy"], wide, degrees=DEGREES, loose=LOOSE, flip=False)
    x = view.of_finer(FINE).picture(pictures(ring.pictures[slots], device))
    known = carried(view, known)
    xy = known["xy"]
    within = ((xy > 0) & (xy < SIZE)).all(-1).float()
    true, other_way = true_angles(known["world"], xy)
    seen, seen_mirrored = net.look(x), net.look(x.flip(-1))
    plain = seen.refined[:, :33]
    by_points = (seen_angles(plain), other_side(seen_angles(seen_mirrored.refined)))
    added = (_added(head, seen), other_side(_added(head, seen_mirrored), added=True))
    chosen, sign = _side(known, true, other_way), torch.where(other_way, -1.0, 1.0)[:, None, None]
    inside = in_crop(within) > 0

    def read(angles: list[torch.Tensor]) -> np.ndarray:
        """(n, 4) degrees off of the side that is read, hips counted round the body's front."""
        off = torch.stack([torch.rad2deg(turned(one - true)) for one in angles]).mean(0)
        off = torch.where(inside, off, torch.nan).reshape(-1, 2, 4)
        off = torch.cat([off[:, :, :2] * sign, off[:, :, 2:]], 2)
        return off[torch.arange(len(off), device=off.device), chosen].cpu().numpy()

    trunk = (xy[:, [11, 12]].mean(1) - xy[:, [23, 24]].mean(1)).norm(dim=-1, keepdim=True)
    away = torch.where(within > 0, (plain - xy).norm(dim=-1) / trunk * 100, torch.nan)
    told = [angles + more for angles, more in zip(by_points, added, strict=True)]
    return {"kind": known["kind"].cpu().numpy(), "angles": read(by_points), "told": read(told), "points": away.cpu().numpy()}


def _added(head: AngleHead | None, seen: Look) -> torch.Tensor:
    """(b, 8) radians that the head adds to angles by points; nothing without one."""
    return torch.deg2rad(head(seen.features()) * STEP) if head else torch.zeros(len(seen.refined), 8, device=seen.refined.device)


def _side(known: dict, true: torch.Tensor, other_way: torch.Tensor) -> torch.Tensor:
    """(b,) 0 left, 1 right: whose angles are read. A lunge's back leg is the one whose hip is open further round the front."""
    front = torch.where(other_way[:, None], torch.rad2deg(2 * torch.pi - true[:, [1, 5]]), torch.rad2deg(true[:, [1, 5]]))
    near = (known["world"][:, 23, 2] > known["world"][:, 24, 2]).long()
    side = torch.where(known["kind"] == list(Kind).index(Kind.LUNGE), (front[:, 0] <= front[:, 1]).long(), near)
    return torch.where(known["kind"] == list(Kind).index(Kind.CARTWHEEL), 0, side)


def _figures(rows: dict[str, np.ndarray], kind: int) -> dict:
    of = rows["kind"] == kind
    angles, told = ({name: _mean_off(rows[which][of, k]) for k, name in enumerate(ANGLES)} for which in ("angles", "told"))
    points = {name: _mean(rows["points"][of][:, list(pair)].ravel()) for name, pair in POINTS.items()}
    return {"crops": int(of.sum()), "angles": angles, "told": told, "points": points}


def _mean_off(values: np.ndarray) -> float | None:
    """Mean distance from their median, no value counting for more than FARTHEST."""
    values = values[np.isfinite(values)]
    return _mean(np.minimum(abs(values - np.median(values)), FARTHEST)) if len(values) else None


def _mean(values: np.ndarray) -> float | None:
    values = values[np.isfinite(values)]
    return round(float(values.mean()), 2) if len(values) >= LEAST else None
