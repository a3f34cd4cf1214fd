"""The network's world output, metres in the crop's axes: what it is asked for, how it is judged, and its last layer fitted alone (torch).

Knees bent toward the camera look straight in the picture; only depth tells them. The model's own z orders depths hardly better than
chance, its world points are trained here by the three-dimensional angles and bone directions of drawn bodies.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F

from pipeline.errors import MatsideError

from .convention import MODEL_HEIGHT
from .labels import SIZE, split
from .network import WORLD, LandmarkNet
from .views import look_again

ANGLES = ((23, 25, 27), (24, 26, 28), (11, 23, 25), (12, 24, 26), (11, 13, 15), (12, 14, 16))  # knees, hips, elbows
BONES = ((23, 25), (24, 26), (25, 27), (26, 28), (11, 23), (12, 24), (11, 13), (12, 14), (13, 15), (14, 16), (23, 24), (11, 12))
BENT, TOWARD = 150.0, 25.0  # degrees: a knee bent further than this whose picture angle is off by more than that is bent in depth


def included(world: torch.Tensor, corners: tuple[int, int, int]) -> torch.Tensor:
    """(b, k, 3) metres -> (b,) included angle at the middle corner, radians, with a gradient at straight limbs too."""
    u, v = world[:, corners[0]] - world[:, corners[1]], world[:, corners[2]] - world[:, corners[1]]
    across = torch.linalg.cross(u, v)
    return torch.atan2(torch.sqrt(across.square().sum(-1) + 1e-8), (u * v).sum(-1) + 1e-8)


def metres(known: dict) -> torch.Tensor:
    """(b, 33, 3) labels as the family gives them: everybody MODEL_HEIGHT tall."""
    return known["world"] * (MODEL_HEIGHT / known["height"].clamp(min=0.5)).reshape(-1, 1, 1)


def trust(known: dict) -> torch.Tensor:
    """(b, 33) 0..1: points in the crop count, hidden ones half."""
    within = ((known["xy"] > -12) & (known["xy"] < SIZE + 12)).all(-1).float()
    return within * torch.where(known["seen"] == 0, 0.5, 1.0) * torch.where(known["framed"] > 0, 1.0, 0.3) * known["person"].reshape(-1, 1)


def shape_loss(got: torch.Tensor, want: torch.Tensor, weight: torch.Tensor) -> dict[str, torch.Tensor]:
    """Angles (smooth absolute error, radians) and directions of bones (1 - cos) in space. got, want (b, >= 33, 3); weight (b, 33)."""
    angle, bone = got.new_zeros(()), got.new_zeros(())
    for corners in ANGLES:
        off = F.smooth_l1_loss(included(got, corners), included(want, corners), reduction="none", beta=0.1)
        angle = angle + (off * weight[:, list(corners)].amin(1)).mean()
    for a, b in BONES:
        off = 1 - F.cosine_similarity(got[:, b] - got[:, a], want[:, b] - want[:, a], dim=-1, eps=1e-3)
        bone = bone + (off * weight[:, [a, b]].amin(1)).mean()
    return {"world_angle": angle, "world_bone": bone}


# ---- how well it does ----


def world_figures(world: np.ndarray, known: dict[str, np.ndarray]) -> dict[str, float]:
    """Knee angles in space of world points (n, 33, 3) against drawn crops' labels (arrays of labels.split), degrees.

    "rank": Spearman's correlation of angle and truth; "bent in depth": knees that look straighter in the picture than they are.
    """
    from scipy.stats import spearmanr

    from .checks import included_angle

    got, want, flat, sure = [], [], [], []
    weight = trust({k: torch.from_numpy(np.asarray(v)) for k, v in known.items()}).numpy()
    for corners in ANGLES[:2]:
        got.append(np.degrees(included(torch.from_numpy(np.asarray(world, np.float32)), corners).numpy()))
        want.append(np.degrees(included(torch.from_numpy(np.asarray(known["world"], np.float32)), corners).numpy()))
        flat.append(included_angle(known["xy"], corners))
        sure.append(weight[:, list(corners)].min(1) >= 1)
    a, b, f, s = (np.concatenate(v) for v in (got, want, flat, sure))
    a, b, f = a[s], b[s], f[s]
    deep = (b < BENT) & (f - b > TOWARD)
    out = {"knee MAE": abs(a - b).mean(), "by the picture": abs(f - b).mean(), "knee 95th": np.quantile(abs(a - b), 0.95)}
    if np.ptp(a) > 0 and np.ptp(b) > 0:
        out["rank"] = float(spearmanr(a, b)[0])
    if deep.any():
        out |= {"bent in depth, n": deep.sum(), "MAE there": abs(a - b)[deep].mean(), "by the picture there": abs(f - b)[deep].mean()}
    return {k: round(float(v), 2) for k, v in out.items()}


# ---- the last layer alone ----


def last_layer(network: LandmarkNet) -> tuple[str, str, int]:
    """Names of the world branch's own weight and bias, and the tensor that goes into it. Nothing else in the file depends on them."""
    return network.last_convolution(WORLD)


@torch.no_grad()
def _features(network: LandmarkNet, pool, count: int, device: str, seed: int, *, batch: int = 250) -> tuple[torch.Tensor, dict]:
    """What goes into the last layer for `count` drawn crops, each moved and mirrored anew; and what is known of these."""
    rng, rows, labels, before = np.random.default_rng(seed), [], [], last_layer(network)[2]
    for _ in range(-(-count // batch)):
        pictures, matrix = pool.batch(rng, batch, pool.drawn())
        x = torch.from_numpy(pictures).to(device).permute(0, 3, 1, 2).float() / 255
        x, known = look_again(x, split(torch.from_numpy(matrix).to(device)))
        with torch.autocast(device.split(":")[0], torch.float16, enabled=device.startswith("cuda")):
            rows.append(network.tensor(x, before).flatten(1).half())
        labels.append({k: known[k] for k in ("world", "height", "xy", "seen", "framed", "person")})
    return torch.cat(rows), {k: torch.cat([part[k] for part in labels]) for k in labels[0]}


def fit_world(
    model: Path, pool, *, crops: int = 48_000, steps: int = 3000, rate: float = 1e-3, seed: int = 1, device: str = "cpu"
) -> tuple[dict, dict]:
    """({name: array}, figures): the last layer's new weight and bias, fitted on drawn crops with everything else frozen.

    figures: knees on drawn bodies that were never trained on, before and after.
    """
    torch.manual_seed(seed)
    network = LandmarkNet(model).to(device).requires_grad_(False)
    names = last_layer(network)[:2]
    x, known = _features(network, pool, crops, device, seed)
    want, weight = metres(known), trust(known)
    at = x.float().mean(0)
    size = x.float().std(0) + 1e-2 * x.float().std()
    start = getattr(network, names[0]).flatten(1).t().contiguous(), getattr(network, names[1])  # (features, 117)
    slope = (start[0] * size[:, None]).clone().requires_grad_(True)
    level = (start[1] + at @ start[0]).clone().requires_grad_(True)
    optimiser = torch.optim.AdamW([slope, level], lr=rate, weight_decay=0.0, betas=(0.9, 0.99))
    for step in range(steps):
        pick = torch.randint(len(x), (1024,), device=device)
        got = (((x[pick].float() - at) / size) @ slope + level).reshape(-1, 39, 3)
        w = weight[pick]
        near = F.smooth_l1_loss(got[:, :33], want[pick], reduction="none", beta=0.05).sum(-1)
        loss = 8 * (near * w).sum() / (w.sum() + 1e-6) + sum(shape_loss(got, want[pick], w).values())
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1.0, (step + 1) / 50) * (1 - step / steps)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
    with torch.no_grad():
        new = (slope / size[:, None]).t()
        made = {names[0]: new.reshape(getattr(network, names[0]).shape), names[1]: level - at @ (slope / size[:, None])}
        pictures, matrix = pool.check_set()
        told, figures = split(matrix), {}
        for word in ("before", "after"):
            seen = torch.cat([
                network(torch.from_numpy(pictures[k : k + 100]).to(device).permute(0, 3, 1, 2).float() / 255, want=(WORLD,))[0]
                for k in range(0, len(pictures), 100)
            ])  # fmt: skip
            figures[word] = world_figures(seen.reshape(-1, 39, 3)[:, :33].float().cpu().numpy(), told)
            for name, value in made.items():
                getattr(network, name).copy_(value)
    return {k: v.cpu().numpy() for k, v in made.items()}, figures


def with_layer(model: Path, layer: dict[str, np.ndarray]) -> bytes:
    """The model file with its world branch's last layer replaced; every other byte stays."""
    network = LandmarkNet(model)
    if set(layer) != set(last_layer(network)[:2]):
        raise MatsideError(f"{model}: this layer belongs to another file; expected {', '.join(last_layer(network)[:2])}.")
    weights = {k: p.detach() for k, p in network.named_parameters()}
    weights |= {k: torch.from_numpy(np.asarray(v)) for k, v in layer.items()}
    return network.written(weights)
