"""What heavier models of the family say of the real crops: asked once, from many views, before training; the student learns from the middle answer."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F

from pipeline.errors import MatsideError

from .anchors import Anchors
from .convention import to_joint_centres
from .heatmap import refine
from .network import LandmarkNet
from .views import View

MASK = 128  # cells a side of a stored mask
FIELDS = ("xy", "spread", "sure", "aux", "own", "world", "person", "mask")


@dataclass(frozen=True, eq=False)
class Taught:
    """For n anchors, in pixels of the crop's middle 256. The points are joint centres where the family's are not."""

    xy: np.ndarray  # (n, 33, 2) median over views and teachers
    spread: np.ndarray  # (n, 33) pixels, median distance of a view from that
    sure: np.ndarray  # (n, 33) the heatmaps' confidence, 0..1
    aux: np.ndarray  # (n, 2, 2) points 33 and 34
    own: np.ndarray  # (n, 33, 2) what the teacher says of each point: logits of visible and present
    world: np.ndarray  # (n, 33, 3) metres
    person: np.ndarray  # (n, 1) presence
    mask: np.ndarray  # (n, 128, 128) uint8, 255: the person

    def save(self, path: Path) -> None:
        np.savez_compressed(path, **{name: getattr(self, name) for name in FIELDS})

    @classmethod
    def load(cls, path: Path) -> Taught:
        if not path.exists():
            raise MatsideError(f"{path}: the teachers' answers are missing. Make them: python -m pipeline.landmarks.tuning teach --help")
        d = np.load(path)
        return cls(**{name: d[name] for name in FIELDS})

    def tensors(self, device: str) -> dict[str, torch.Tensor]:
        return {name: torch.from_numpy(getattr(self, name)).to(device) for name in FIELDS}


@torch.no_grad()
def _asked(network: LandmarkNet, wide: torch.Tensor, centres: bool) -> dict[str, torch.Tensor]:
    """One teacher's answers on one random view of each crop, turned back to the crop."""
    view = View.random(len(wide), wide.device, degrees=12, zoom=0.12, shift=8)
    points, person, mask, heatmap, world = (v.float() for v in network(view.picture(wide)))
    points, world = points.reshape(-1, 39, 5), world.reshape(-1, 39, 3)[:, :33]
    refined, _, sure = refine(points, heatmap)
    xy = refined[:, :33] if centres else to_joint_centres(refined[:, :33], world)
    back = view.inverse()
    level = back.world(view.sides(world))
    shown = back.picture(torch.sigmoid(mask.permute(0, 3, 1, 2)))
    return {
        "xy": view.unpoints(view.sides(xy)), "sure": view.sides(sure[:, :33]), "aux": view.unpoints(points[:, 33:35, :2]),
        "own": view.sides(points[:, :33, 3:]), "world": level, "person": person, "mask": F.adaptive_avg_pool2d(shown, MASK)[:, 0],
    }  # fmt: skip


def teach(
    anchors: Anchors, teachers: list[tuple[Path, bool]], *, views: int = 12, seed: int = 1, device: str = "cpu", batch: int = 32
) -> Taught:
    """Ask every teacher about every anchor `views` times. teachers: (file, whether it marks joint centres as tuned models do)."""
    torch.manual_seed(seed)
    networks = [(LandmarkNet(path).to(device).requires_grad_(False), centres) for path, centres in teachers]
    pictures, parts = anchors.pictures(), []
    for k in range(0, len(anchors), batch):
        wide = torch.from_numpy(pictures[k : k + batch]).to(device).permute(0, 3, 1, 2).float() / 255
        answers = [_asked(network, wide, centres) for network, centres in networks for _ in range(views)]
        got = {name: torch.stack([a[name] for a in answers]) for name in answers[0]}
        middle = got["xy"].median(0).values
        part = {name: values.mean(0) for name, values in got.items()}
        part |= {
            "xy": middle,
            "spread": (got["xy"] - middle).norm(dim=-1).median(0).values,
            "mask": (part["mask"] * 255).round().to(torch.uint8),
        }
        parts.append({name: v.cpu().numpy() for name, v in part.items()})
    return Taught(**{name: np.concatenate([p[name] for p in parts]) for name in FIELDS})


def sharp(spread: torch.Tensor) -> torch.Tensor:
    """(…) pixels of spread -> trust 1..0: half at 5 pixels, none beyond 14."""
    return (spread < 14) / (1 + (spread / 5) ** 2)
