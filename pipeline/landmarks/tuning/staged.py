"""Crops that the benchmark's own renderer drew (`python -m pipeline.bench staged-crops`): a second hand at drawing people.

Two renderers err differently: what a network learns of both is less about either's way to paint a hip under a T-shirt. Of these
crops only the twelve joint centres are known, and no skin or depth picture.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError

from .labels import WIDTH, as_matrix

QUALITY = 95  # of the JPEG a crop is kept as


@dataclass(frozen=True, eq=False)
class Staged:
    """Crops (n, 256, 256, 3) uint8 RGB and their labels (n, WIDTH) float32, as a pool holds them."""

    pictures: np.ndarray
    labels: np.ndarray

    def batch(self, rng: np.random.Generator, size: int) -> tuple[np.ndarray, np.ndarray]:
        """`size` of them at random."""
        pick = np.sort(rng.integers(0, len(self.labels), size))
        return self.pictures[pick], self.labels[pick]

    @classmethod
    def load(cls, folder: Path) -> Staged:
        """All crops of a folder of files made by `write`. Raises MatsideError where there are none."""
        with ThreadPoolExecutor(8) as threads:
            parts = list(threads.map(_read, sorted(Path(folder).glob("*.npz"))))
        if not parts:
            raise MatsideError(f"{folder}: no staged crops. Make them: python -m pipeline.bench staged-crops --out {folder}")
        return cls(np.concatenate([p for p, _ in parts]), np.concatenate([row for _, row in parts]))


def write(path: Path, pictures: list[np.ndarray], rows: np.ndarray) -> None:
    """Keep one scene's crops and their (n,) LABEL rows."""
    import cv2

    coded = [cv2.imencode(".jpg", p[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].ravel() for p in pictures]
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.savez(file, sizes=np.array([len(c) for c in coded]), bytes=np.concatenate(coded), labels=as_matrix(rows))
    part.replace(path)


def _read(path: Path) -> tuple[np.ndarray, np.ndarray]:
    import cv2

    with np.load(path) as kept:
        coded, labels = np.split(kept["bytes"], np.cumsum(kept["sizes"])[:-1]), kept["labels"]
    if labels.shape[1] != WIDTH:
        raise MatsideError(f"{path}: labels of {labels.shape[1]} numbers; expected {WIDTH}. Made by another version: make them again.")
    return np.stack([cv2.imdecode(c, cv2.IMREAD_COLOR)[:, :, ::-1] for c in coded]), labels
