"""Crops in memory-mapped files that several worker processes fill at the same time, each its own slots, while a trainer draws from them."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from .labels import SIZE, WIDTH, as_matrix


def mapped(folder: Path, name: str, slots: int, side: int = SIZE) -> tuple[np.memmap, np.memmap]:
    """Pictures (slots, side, side, 3) uint8 and labels (slots, WIDTH) float32, created sparse where missing."""
    arrays = []
    for suffix, dtype, shape in ((".pictures", np.uint8, (slots, side, side, 3)), (".labels", np.float32, (slots, WIDTH))):
        path, size = folder / (name + suffix), int(np.prod(shape)) * np.dtype(dtype).itemsize
        if not path.exists() or path.stat().st_size != size:
            with path.open("wb") as file:
                file.truncate(size)
        arrays.append(np.memmap(path, dtype, "r+", shape=shape))
    return arrays[0], arrays[1]


def told(path: Path) -> int:
    """The number in a file that `tell` wrote; 0 where there is none."""
    try:
        return int(path.read_text())
    except (FileNotFoundError, ValueError):
        return 0


def tell(path: Path, number: int) -> None:
    """Write a number for other processes to read: they see the old or the new one."""
    fresh = path.with_suffix(path.suffix + ".new")
    fresh.write_text(str(number))
    fresh.replace(path)


class Ring:
    """`slots` crops of `side` pixels in `folder`; worker k of `workers` writes slots k, k + workers, ... and begins again when these are full.

    Files called drawn.0, drawn.1, ... say how many crops each worker has drawn.
    """

    def __init__(self, folder: Path, name: str, *, slots: int, workers: int, side: int = SIZE) -> None:
        self.folder, self.slots, self.workers = Path(folder), slots - slots % workers, workers
        self.folder.mkdir(parents=True, exist_ok=True)
        self.pictures, self.labels = mapped(self.folder, name, self.slots, side)

    def drawn(self) -> np.ndarray:
        """(workers,) crops each worker has told of so far, those of earlier runs in this folder included."""
        return np.array([self.drawn_by(k) for k in range(self.workers)])

    def drawn_by(self, worker: int) -> int:
        """How many crops one worker has told of."""
        return told(self.folder / f"drawn.{worker}")

    def put(self, worker: int, number: int, picture: np.ndarray, row: np.ndarray) -> None:
        """Keep a worker's crop number `number` (from 0) with its LABEL scalar; nobody knows of it until `tell`."""
        slot = worker + number % (self.slots // self.workers) * self.workers
        self.pictures[slot], self.labels[slot] = picture, as_matrix(row[None])[0]

    def tell(self, worker: int, drawn: int) -> None:
        """Say how many crops a worker has drawn."""
        tell(self.folder / f"drawn.{worker}", drawn)

    def kept(self, drawn: np.ndarray) -> np.ndarray:
        """(n,) slots that hold a crop, in order. drawn: from `drawn`."""
        each = np.minimum(drawn, self.slots // self.workers)
        return np.sort(np.concatenate([np.arange(n) * self.workers + k for k, n in enumerate(each)]))

    def batch(self, rng: np.random.Generator, size: int, drawn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Random crops among those drawn: (size, side, side, 3) uint8 and (size, WIDTH) float32."""
        each = np.minimum(drawn, self.slots // self.workers)
        ends = np.cumsum(each)
        pick = rng.integers(0, ends[-1], size)
        worker = np.searchsorted(ends, pick, side="right")
        slots = np.sort(worker + (pick - (ends[worker] - each[worker])) * self.workers)
        return np.take(self.pictures, slots, axis=0), np.array(self.labels[slots])  # `take` copies ten times as fast as an index does
