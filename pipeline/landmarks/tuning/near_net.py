"""The network of the near look while it is trained, and a small head that reads from its inside what angles its points miss (torch).

The head makes the network keep the angle of a hip under cloth, and not only its place, in the maps that points are made from; it is shipped
beside the network (`landmarks/near_angles.py` reads with it) and is given what `net.LandmarkNet.features` gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

from pipeline.landmarks import near_angles
from pipeline.landmarks.net import JOINTS

from .heatmap import refine
from .labels import SIZE
from .network import HEATMAP, POINTS, WORLD, LandmarkNet

AT = JOINTS  # where the inner map is read
STEP, BEYOND = near_angles.STEP, near_angles.BEYOND


@dataclass(frozen=True, eq=False)
class Look:
    """What the network makes of b crops, float32."""

    points: torch.Tensor  # (b, 39, 5)
    heatmap: torch.Tensor  # (b, 64, 64, 39) logits
    world: torch.Tensor  # (b, 39, 3)
    inner: torch.Tensor  # (b, c, h, w) the map that heatmaps are made from
    refined: torch.Tensor  # (b, 39, 2) crop pixels
    used: torch.Tensor  # (b, 39) bool, moved by its heatmap

    def features(self) -> torch.Tensor:
        """(b, n) what the head reads: the inner map at the main joints as they are before their heatmaps move them (joint after joint), points
        in space, and in the picture as seen from the middle of the hips, in trunks. Where it is read is not moved by what is read there."""
        at, xy = self.points[:, list(AT), :2].detach(), self.refined[:, list(AT)].detach()
        inner = F.grid_sample(
            self.inner, (at / SIZE * 2 - 1)[:, :, None], mode="bilinear", padding_mode="border", align_corners=False
        )[..., 0].transpose(1, 2).flatten(1)  # fmt: skip
        hips = self.refined[:, [23, 24]].mean(1)
        trunk = (self.refined[:, [11, 12]].mean(1) - hips).norm(dim=-1, keepdim=True).clamp(min=8)
        shape = ((xy - hips[:, None]) / trunk[:, None]).flatten(1).detach()
        return torch.cat([inner, self.world.flatten(1), shape], 1)


class NearNet:
    """A landmark file in torch, looked at with its own or other weights. half: half-precision arithmetic."""

    def __init__(self, path: Path, device: str, *, half: bool = False) -> None:
        self.network, self.half = LandmarkNet(path).to(device), half
        outputs = self.network.outputs
        self._ends = [*(outputs[k] for k in (POINTS, HEATMAP, WORLD)), self.network.last_convolution(HEATMAP)[2]]

    def look(self, x: torch.Tensor, weights: dict | None = None) -> Look:
        """x (b, 3, 256, 256) in 0..1."""
        with torch.autocast("cuda", torch.float16, enabled=self.half):
            points, heatmap, world, inner = (v.float() for v in self.network.tensors(x, self._ends, weights))
        points, heatmap = points.reshape(-1, 39, 5), heatmap.permute(0, 2, 3, 1)
        refined, used, _ = refine(points, heatmap)
        return Look(points, heatmap, world.reshape(-1, 39, 3), inner, refined, used)


class AngleHead(nn.Module):
    """Features (b, n) -> (b, 8) what to add to the seen angles (near_angles), in STEP degrees; nothing at first."""

    def __init__(self, like: torch.Tensor) -> None:
        super().__init__()
        self.register_buffer("mean", like.mean(0))
        self.register_buffer("deviation", like.std(0).clamp(min=1e-2))
        layers = (nn.Linear(like.shape[1], 256), nn.SiLU(), nn.Dropout(0.1), nn.Linear(256, 256), nn.SiLU(), nn.Linear(256, 8))
        self.layers = nn.Sequential(*layers)
        nn.init.zeros_(layers[-1].weight)
        nn.init.zeros_(layers[-1].bias)

    def forward(self, features: torch.Tensor) -> torch.Tensor:
        return self.layers(((features - self.mean) / self.deviation).clamp(-BEYOND, BEYOND))

    def arrays(self) -> dict[str, np.ndarray]:
        """What `landmarks.near_angles` reads: mean and deviation (n,), weight_k and bias_k of each layer, all float32."""
        out = {name: getattr(self, name) for name in ("mean", "deviation")}
        for k, layer in enumerate(m for m in self.layers if isinstance(m, nn.Linear)):
            out |= {f"weight_{k}": layer.weight, f"bias_{k}": layer.bias}
        return {name: value.detach().float().cpu().numpy() for name, value in out.items()}
