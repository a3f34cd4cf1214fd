"""Drawn holds or cartwheels for the near look, kept in a folder: crops wider and finer than the network's input, so that near views are cut from them.

Two renderers fill a folder each, the benchmark's (`python -m pipeline.bench staged-holds`) and this room's (`tuning near-holds`), while
training may read already. Crops of bodies that are only ever checked on lie apart.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError

from .labels import SIZE, WIDTH
from .ring import Ring, tell, told

FINE = 1.75  # pixels a side, in SIZE
PIXELS = round(SIZE * FINE)
WIDE = 5.2  # trunks a side: holds a crop four trunks wide about the hips, however turned and zoomed for training
CHECKED = 0.25  # room for crops to check on, of all; about a seventh is drawn
ABOUT = "store.json"
FOLDERS = ("pool", "check")


class NearStore:
    """Crops (PIXELS a side) of `workers` processes in `folder`: `pool` to train on, `check` of other bodies; labels are in SIZE pixels."""

    def __init__(self, folder: Path, crops: int, workers: int) -> None:
        self.folder, self.share, self.workers = Path(folder), crops // workers, workers
        room = max(1, round(self.share * CHECKED))
        self.pool, self.check = (
            Ring(self.folder / name, name, slots=each * workers, workers=workers, side=PIXELS)
            for name, each in zip(FOLDERS, (self.share, room), strict=True)
        )

    @classmethod
    def make(cls, folder: Path, *, crops: int, workers: int, shown: str = "holds") -> NearStore:
        """A store for `crops` crops of "holds" or "cartwheels", or the one that was begun there for the same. Raises MatsideError for others."""
        if not 0 < workers <= crops:
            raise MatsideError(f"{folder}: {crops} crops by {workers} workers; expected at least one worker and a crop for each.")
        about, asked = Path(folder) / ABOUT, {"crops": crops, "workers": workers, "label": WIDTH, "shown": shown}
        if about.exists() and json.loads(about.read_text()) != asked:
            begun = json.loads(about.read_text())
            raise MatsideError(
                f"{folder}: was begun for {begun['crops']} crops of {begun.get('shown', 'an earlier version')} by {begun['workers']} workers, labels of {begun['label']} "
                f"numbers; now asked for {crops} of {shown} by {workers}, labels of {WIDTH}. Give the same or another folder."
            )
        store = cls(folder, crops, workers)
        about.write_text(json.dumps(asked))
        return store

    @classmethod
    def load(cls, folder: Path, command: str) -> NearStore:
        """The store in a folder. Raises MatsideError that names the `command` that makes one."""
        about = Path(folder) / ABOUT
        if not about.exists():
            raise MatsideError(f"{folder}: no drawn holds there. Make them: {command} --out {folder}")
        said = json.loads(about.read_text())
        if said["label"] != WIDTH:
            raise MatsideError(f"{folder}: labels of {said['label']} numbers; expected {WIDTH}. Made by another version: make them again.")
        return cls(folder, said["crops"], said["workers"])

    def drawn(self, worker: int) -> int:
        """How many crops a worker has drawn, those to check on included."""
        return self.pool.drawn_by(worker) + self.check.drawn_by(worker)

    def add(self, worker: int, picture: np.ndarray, row: np.ndarray, *, checked: bool) -> None:
        """Keep a crop (PIXELS, PIXELS, 3) uint8 RGB and its LABEL scalar; checked: of a body that is never trained on."""
        ring = self.check if checked else self.pool
        number = ring.drawn_by(worker)
        ring.put(worker, number, picture, row)
        ring.tell(worker, number + 1)

    def scenes(self, worker: int) -> int:
        """How many scenes a worker has drawn to their end."""
        return told(self.folder / f"scenes.{worker}")

    def scenes_told(self, worker: int, scenes: int) -> None:
        """Say how many scenes a worker has drawn to their end."""
        tell(self.folder / f"scenes.{worker}", scenes)

    @property
    def stopped(self) -> bool:
        """Whether workers were told to stop."""
        return (self.folder / "stop").exists()

    def fill(self, work: Callable[[Path, int, float], None], *, minutes: float) -> int:
        """Run `work(folder, worker, ends)` in a process a worker, until all have drawn their share or the minutes are over (`ends`, of
        `time.time`); the number of crops then. What a worker raises is raised, once the others have stopped."""
        (self.folder / "stop").unlink(missing_ok=True)
        ends = time.time() + 60 * minutes
        with ProcessPoolExecutor(self.workers, mp_context=get_context("spawn")) as processes:
            jobs = [processes.submit(work, self.folder, k, ends) for k in range(self.workers)]
            try:
                for job in as_completed(jobs):
                    job.result()
            finally:
                (self.folder / "stop").touch()
        return sum(self.drawn(k) for k in range(self.workers))


def as_worker() -> None:
    """Be one of many drawing processes: one thread, and after others."""
    import cv2

    cv2.setNumThreads(1)
    os.nice(5)
