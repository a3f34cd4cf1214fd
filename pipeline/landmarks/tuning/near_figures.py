"""How the near look does on drawn holds of bodies that were never trained on, by skill and by what lies in the middle of the view (torch)."""

from __future__ import annotations

import numpy as np
import torch

from .labels import SIZE, split
from .near_angles import NAMES, in_crop, seen_angles, true_angles, turned
from .near_losses import FARTHEST
from .near_net import NearNet
from .near_store import FINE, NearStore
from .near_views import Centre, near_view
from .poses import Kind
from .views import MIRRORED, carried

DEGREES, LOOSE = 2.4, 0.4  # how far the views are off, as those of a hold that was followed
POINTS = {"shoulders": (11, 12), "hips": (23, 24), "knees": (25, 26)}
LEAST = 5  # crops for a figure
SEED = 5


def pictures(crops: np.ndarray | torch.Tensor, device: str) -> torch.Tensor:
    """(b, s, s, 3) bytes -> (b, 3, s, s) in 0..1 on the device."""
    return torch.as_tensor(crops).to(device, non_blocking=True).permute(0, 3, 1, 2).float() / 255


def near_figures(net: NearNet, store: NearStore, wide: float, device: str, *, most: int = 600, batch: int = 100) -> dict:
    """By Centre and Kind: mean angle errors and distances of points on up to `most` crops of the store's `check`, each looked at plain and mirrored.

    angles: degrees, of the mean of both looks by points alone, the kind's median taken off; of the leg at the back in a lunge, of the side
    nearer to the camera in a stand. points: % of the trunk, plain look. Only what lies in the view counts; None: in too few crops.
    """
    ring = store.check
    slots = ring.kept(ring.drawn())[:most]
    out: dict = {}
    for centre in Centre:
        with torch.random.fork_rng([device] if device.startswith("cuda") else []), torch.no_grad():
            torch.manual_seed(SEED)
            parts = [_part(net, ring, slots[k : k + batch], centre, wide, device) for k in range(0, len(slots), batch)]
        if parts:
            rows = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
            out[centre.name.lower()] = {str(kind): _figures(rows, k) for k, kind in enumerate(Kind) if (rows["kind"] == k).any()}
    return out


def _part(net: NearNet, ring, slots: np.ndarray, centre: Centre, wide: float, device: str) -> dict[str, np.ndarray]:
    """kind (n,), angles (n, 4) degrees off, points (n, 33) % of the trunk off; NaN where they do not lie in the view."""
    known = split(torch.from_numpy(np.array(ring.labels[slots])).to(device))
    view = near_view(known["xy"], wide, degrees=DEGREES, loose=LOOSE, flip=False, centre=centre)
    x = view.of_finer(FINE).picture(pictures(ring.pictures[slots], device))
    known = carried(view, known)
    xy = known["xy"]
    within = ((xy > 0) & (xy < SIZE)).all(-1).float()
    plain, mirrored = net.look(x).refined[:, :33], net.look(x.flip(-1)).refined[:, :33][:, MIRRORED]
    mirrored = torch.stack([SIZE - mirrored[..., 0], mirrored[..., 1]], -1)
    true, other_way = true_angles(known["world"], xy)
    off = torch.stack([torch.rad2deg(turned(seen_angles(p) - true)) for p in (plain, mirrored)]).mean(0)
    sign = torch.where(other_way, -1.0, 1.0)[:, None]
    off = torch.where(in_crop(within) > 0, off, torch.nan).reshape(-1, 2, 4)
    off = torch.cat([off[:, :, :2] * sign[..., None], off[:, :, 2:]], 2)
    chosen = _side(known, true, other_way)
    trunk = (xy[:, [11, 12]].mean(1) - xy[:, [23, 24]].mean(1)).norm(dim=-1, keepdim=True)
    away = torch.where(within > 0, (plain - xy).norm(dim=-1) / trunk * 100, torch.nan)
    angles = off[torch.arange(len(off), device=off.device), chosen]
    return {"kind": known["kind"].cpu().numpy(), "angles": angles.cpu().numpy(), "points": away.cpu().numpy()}


def _side(known: dict, true: torch.Tensor, other_way: torch.Tensor) -> torch.Tensor:
    """(b,) 0 left, 1 right: whose angles are read. A lunge's back leg is the one whose hip is open further round the front."""
    front = torch.where(other_way[:, None], torch.rad2deg(2 * torch.pi - true[:, [1, 5]]), torch.rad2deg(true[:, [1, 5]]))
    near = (known["world"][:, 23, 2] > known["world"][:, 24, 2]).long()
    return torch.where(known["kind"] == list(Kind).index(Kind.LUNGE), (front[:, 0] <= front[:, 1]).long(), near)


def _figures(rows: dict[str, np.ndarray], kind: int) -> dict:
    of = rows["kind"] == kind
    angles = {name: _mean_off(rows["angles"][of, k]) for k, name in enumerate(NAMES)}
    points = {name: _mean(rows["points"][of][:, list(pair)].ravel()) for name, pair in POINTS.items()}
    return {"crops": int(of.sum()), "angles": angles, "points": points}


def _mean_off(values: np.ndarray) -> float | None:
    """Mean distance from their median, no value counting for more than FARTHEST."""
    values = values[np.isfinite(values)]
    return _mean(np.minimum(abs(values - np.median(values)), FARTHEST)) if len(values) else None


def _mean(values: np.ndarray) -> float | None:
    values = values[np.isfinite(values)]
    return round(float(values.mean()), 2) if len(values) >= LEAST else None
