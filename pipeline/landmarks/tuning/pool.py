"""Drawn crops on the go: worker processes fill a ring of crops in memory-mapped files, the trainer draws random batches from it."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError

from .labels import as_matrix
from .ring import Ring, mapped

NOBODY = 0.08  # share of crops without a person
REPORT_EVERY = 10  # crops between a worker's reports


class Pool(Ring):
    """A ring of drawn crops in `folder`, filled by `workers` processes until closed. Use as a context manager.

    A pool that an earlier run left in the folder (same slots and workers) is used further: its crops count from the start. With
    fill=False nothing is drawn: another run fills the same folder at the same time.
    """

    def __init__(self, folder: Path, bodies: Path, *, slots: int, workers: int, check: int, seed: int, fill: bool = True) -> None:
        super().__init__(folder, "pool", slots=slots, workers=workers)
        self.check = check
        for old in (*self.folder.glob("checked.*"), self.folder / "stop") if fill else ():
            old.unlink(missing_ok=True)
        mapped(self.folder, "check", check)
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
        pictures, labels = mapped(self.folder, "check", self.check)
        return np.array(pictures), np.array(labels)


def _work(folder: Path, bodies_path: Path, me: int, workers: int, slots: int, check: int, seed: int, parent: int) -> None:
    import cv2

    from .bodies import Bodies
    from .draw import Artist
    from .poses import Kind

    cv2.setNumThreads(1)
    os.nice(5)
    bodies, kinds = Bodies.load(bodies_path), list(Kind)
    pictures, labels = mapped(folder, "check", check)
    artist = Artist(bodies, bodies.members(held_out=True), 0)
    for k in range(me, check, workers):
        artist.rng = np.random.default_rng([20240, k])
        pictures[k], row = artist.draw(kinds[k % len(kinds)])
        labels[k] = as_matrix(row[None])[0]
    (folder / f"checked.{me}").touch()
    ring = Ring(folder, "pool", slots=slots, workers=workers)
    drawn = ring.drawn_by(me)
    artist = Artist(bodies, bodies.members(held_out=False), [seed, me, drawn])
    while os.getppid() == parent and not (folder / "stop").exists():
        picture, row = artist.draw_nobody() if artist.rng.random() < NOBODY else artist.draw()
        ring.put(me, drawn, picture, row)
        drawn += 1
        if drawn % REPORT_EVERY == 0:
            ring.tell(me, drawn)


if __name__ == "__main__":
    _work(Path(sys.argv[1]), Path(sys.argv[2]), *(int(a) for a in sys.argv[3:]))
