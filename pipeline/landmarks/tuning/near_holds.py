"""The tuning renderer's holds or cartwheels for the near look: `fill_near_holds` draws them into a store with many processes."""

from __future__ import annotations

import time
from functools import partial
from pathlib import Path

import numpy as np

from .bodies import Bodies
from .near_artist import NearArtist
from .near_store import NearStore, as_worker

CHECKED = 0.12  # share of crops of bodies that are only checked on


def fill_near_holds(folder: Path, bodies: Path, *, crops: int, workers: int, minutes: float, shown: str = "holds", seed: int = 5) -> int:
    """Draw up to `crops` crops into a store, going on where an earlier run ended; how many it holds then. shown: see `NearArtist`."""
    Bodies.load(bodies)  # or says how to make them, before any process starts
    return NearStore.make(folder, crops=crops, workers=workers, shown=shown).fill(partial(_work, bodies, shown, seed), minutes=minutes)


def _work(bodies_path: Path, shown: str, seed: int, folder: Path, me: int, ends: float) -> None:
    as_worker()
    store, bodies = NearStore.load(folder, "near-holds"), Bodies.load(bodies_path)
    drawn = store.drawn(me)
    taught, checked = (NearArtist(bodies, bodies.members(held_out=out), [seed, int(out), me, drawn], shown) for out in (False, True))
    rng = np.random.default_rng([seed, 2, me, drawn])
    while store.drawn(me) < store.share and time.time() < ends and not store.stopped:
        check = bool(rng.random() < CHECKED)
        picture, row = (checked if check else taught).draw()
        store.add(me, picture, row, checked=check)
