"""Drawn crops on the device that trains (torch): `OnCard(ring, device)`."""

from __future__ import annotations

import numpy as np
import torch

from .ring import Ring


class OnCard:
    """A ring's crops and labels on a device, as many as have been drawn; `fetch` brings new ones."""

    def __init__(self, ring: Ring, device: str) -> None:
        self.ring, self.device = ring, device
        self.pictures = torch.empty(ring.pictures.shape, dtype=torch.uint8, device=device)
        self.labels = torch.empty(ring.labels.shape, device=device)
        self.slots = torch.zeros(0, dtype=torch.long, device=device)
        self._there = np.zeros(0, int)

    def fetch(self, at_once: int = 256) -> int:
        """How many crops lie on the device now."""
        kept = self.ring.kept(self.ring.drawn())
        fresh = np.setdiff1d(kept, self._there)
        for k in range(0, len(fresh), at_once):
            slots = fresh[k : k + at_once]
            on = torch.from_numpy(slots).to(self.device)
            self.pictures[on] = torch.from_numpy(np.take(self.ring.pictures, slots, axis=0)).to(self.device)
            self.labels[on] = torch.from_numpy(np.array(self.ring.labels[slots])).to(self.device)
        self._there, self.slots = kept, torch.from_numpy(kept).to(self.device)
        return len(kept)

    def batch(self, size: int) -> tuple[torch.Tensor, torch.Tensor]:
        """Random crops: (size, side, side, 3) uint8 and (size, WIDTH) float32."""
        slots = self.slots[torch.randint(len(self.slots), (size,), device=self.device)]
        return self.pictures[slots], self.labels[slots]
