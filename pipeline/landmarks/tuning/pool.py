"""Drawn crops on the go: worker processes fill a ring of crops in memory-mapped files, the trainer draws random batches from it."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError

from .labels import SIZE, WIDTH, as_matrix

NOBODY = 0.08  # share of crops without a person
REPORT_EVERY = 10  # crops between a worker's reports


def _open(folder: Path, name: str, slots: int) -> tuple[np.memmap, np.memmap]:
    """Images (slots, 256, 256, 3) uint8 and labels (slots, WIDTH) float32, created sparse where missing."""
    arrays = []
    for suffix, dtype, shape in ((".pictures", np.uint8, (slots, SIZE, SIZE, 3)), (".labels", np.float32, (slots, WIDTH))):
        path, size = folder / (name + suffix), int(np.prod(shape)) * np.dtype(dtype).itemsize
        if not path.exists() or path.stat().st_size != size:
            with path.open("wb") as file:
                file.truncate(size)
        arrays.append(np.memmap(path, dtype, "r+", shape=shape))
    return arrays[0], arrays[1]


class Pool:
    """A ring of drawn crops in `folder`, filled by `workers` processes until closed. Use as a context manager.

    A pool that an earlier run left in the folder (same slots and workers) is used further: its crops count from the start. With
    fill=False nothing is drawn: another run fills the same folder at the same time.
    """

    def __init__(self, folder: Path, bodies: Path, *, slots: int, workers: int, check: int, seed: int, fill: bool = True) -> None:
        self.folder, self.slots, self.workers, self.check = Path(folder), slots - slots % workers, workers, check
        self.folder.mkdir(parents=True, exist_ok=True)
        for old in (*self.folder.glob("checked.*"), self.folder / "stop") if fill else ():
            old.unlink(missing_ok=True)
        self.pictures, self.labels = _open(self.folder, "pool", self.slots)
        _open(self.folder, "check", check)
        self._bodies, self._seed, self._processes, self._fill = bodies, seed, [], fill

    def __enter__(self) -> Pool:
        environment = dict(os.environ, OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1", MKL_NUM_THREADS="1", CUDA_VISIBLE_DEVICES="")
        for k in range(self.workers if self._fill else 0):
            order = [
                sys.executable,
                "-m",
                __name__,
                self.folder,
                self._bodies,
                k,
                self.workers,
                self.slots,
                self.check,
                self._seed,
                os.getpid(),
            ]
            self._processes.append(
                subprocess.Popen([str(a) for a in order], env=environment, stderr=(self.folder / f"errors.{k}").open("w"))
            )
        return self

    def __exit__(self, *_) -> None:
        if self._fill:
            (self.folder / "stop").touch()
        for process in self._processes:
            try:
                process.wait(8)
            except subprocess.TimeoutExpired:
                process.terminate()

    def drawn(self) -> np.ndarray:
        """(workers,) crops each worker has drawn so far, those of earlier runs in this folder included."""
        counts = []
        for k in range(self.workers):
            try:
                counts.append(int((self.folder / f"drawn.{k}").read_text()))
            except (FileNotFoundError, ValueError):
                counts.append(0)
        return np.array(counts)

    def wait_for(self, crops: int) -> None:
        """Until the check crops and at least `crops` others are drawn; raises if a worker died."""
        while len(list(self.folder.glob("checked.*"))) < self.workers or self.drawn().sum() < crops:
            for k, process in enumerate(self._processes):
                if process.poll() is not None:
                    last = (self.folder / f"errors.{k}").read_text().strip().splitlines() or ["no message"]
                    raise MatsideError(f"tuning: drawing worker {k} stopped: {last[-1]}")
            time.sleep(0.2)

    def check_set(self) -> tuple[np.ndarray, np.ndarray]:
        """Crops of bodies that are never trained on; all kinds in turn, the same at every run."""
        pictures, labels = _open(self.folder, "check", self.check)
        return np.array(pictures), np.array(labels)

    def batch(self, rng: np.random.Generator, size: int, drawn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Random crops among those drawn: (size, 256, 256, 3) uint8 and (size, WIDTH) float32."""
        each = np.minimum(drawn, self.slots // self.workers)
        ends = np.cumsum(each)
        pick = rng.integers(0, ends[-1], size)
        worker = np.searchsorted(ends, pick, side="right")
        slots = np.sort(worker + (pick - (ends[worker] - each[worker])) * self.workers)
        return self.pictures[slots], np.array(self.labels[slots])


def _work(folder: Path, bodies_path: Path, me: int, workers: int, slots: int, check: int, seed: int, parent: int) -> None:
    import cv2

    from .bodies import Bodies
    from .draw import Artist
    from .poses import Kind

    cv2.setNumThreads(1)
    os.nice(5)
    bodies, kinds = Bodies.load(bodies_path), list(Kind)
    pictures, labels = _open(folder, "check", check)
    artist = Artist(bodies, bodies.members(held_out=True), 0)
    for k in range(me, check, workers):
        artist.rng = np.random.default_rng([20240, k])
        pictures[k], row = artist.draw(kinds[k % len(kinds)])
        labels[k] = as_matrix(row[None])[0]
    (folder / f"checked.{me}").touch()
    pictures, labels = _open(folder, "pool", slots)
    report = folder / f"drawn.{me}"
    drawn = int(report.read_text()) if report.exists() else 0
    artist = Artist(bodies, bodies.members(held_out=False), [seed, me, drawn])
    mine = range(me, slots, workers)
    while os.getppid() == parent and not (folder / "stop").exists():
        picture, row = artist.draw_nobody() if artist.rng.random() < NOBODY else artist.draw()
        slot = mine[drawn % len(mine)]
        pictures[slot], labels[slot] = picture, as_matrix(row[None])[0]
        drawn += 1
        if drawn % REPORT_EVERY == 0:
            fresh = report.with_suffix(report.suffix + ".new")
            fresh.write_text(str(drawn))
            fresh.replace(report)


if __name__ == "__main__":
    _work(Path(sys.argv[1]), Path(sys.argv[2]), *(int(a) for a in sys.argv[3:]))
