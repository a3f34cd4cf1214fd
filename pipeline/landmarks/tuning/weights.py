"""A network's weights while they are trained: scaled by channel, pulled toward the original, averaged over steps; and how large a step is."""

from __future__ import annotations

import math

import torch

from .network import LandmarkNet

WARM = 150  # steps until the full rate


def eased(step: int, done: float) -> float:
    """Share of the full rate at a step (from 0): up over WARM steps, then down along a cosine to 0.02. done: 0..1 of the run."""
    return min(1, (step + 1) / WARM) * (0.98 * 0.5 * (1 + math.cos(math.pi * min(1, done))) + 0.02)


def kept(step: int, most: float) -> float:
    """Share of the running average that stays after `step` steps: little at first, `most` in the end."""
    return min(most, (step + 1) / (step + 20))


class Weights:
    """Trained as v = w / scale with one fixed scale a channel: batch norm is folded, so the file's weights span four orders of magnitude."""

    def __init__(self, original: LandmarkNet, first: LandmarkNet) -> None:
        self.scale, self.home, self.values = {}, {}, {}
        begin = dict(first.named_parameters())
        for name, p in original.named_parameters():
            p = p.detach()
            if p.ndim == 4:
                self.scale[name] = torch.maximum(p.square().mean((1, 2, 3), keepdim=True).sqrt(), 0.1 * p.square().mean().sqrt())
            else:
                self.scale[name] = p.square().mean().sqrt().clamp(min=0.05)
            self.home[name] = p / self.scale[name]
            self.values[name] = (begin[name].detach() / self.scale[name]).requires_grad_(True)
        self.average = {k: v.detach().clone() for k, v in self.values.items()}

    def now(self) -> dict:
        """The weights as the network takes them, with a gradient."""
        return {k: v * self.scale[k] for k, v in self.values.items()}

    def averaged(self) -> dict:
        """Their average over steps, as the network takes them."""
        return {k: v.detach() * self.scale[k] for k, v in self.average.items()}

    @torch.no_grad()
    def settle(self, pull: float, keep: float) -> None:
        """Pull toward the original and move the average on."""
        values = list(self.values.values())
        torch._foreach_lerp_(values, list(self.home.values()), pull)
        torch._foreach_lerp_(list(self.average.values()), values, 1 - keep)
