"""All passes of a stretch: from every sighting, both ways, each stretch of a person followed once a direction."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.crops import Crop
from pipeline.landmarks.follow import begin, follow
from pipeline.landmarks.net import LandmarkNet
from pipeline.landmarks.paths import Path
from pipeline.landmarks.people import Sighting
from pipeline.landmarks.spool import Spool

MEETS = 0.06  # of the crop's side: passes whose crops are nearer than this are one from there on
COVERED = 0.5  # share of a sighting's looks that a pass must agree with to make a start from it needless
NEAR = 0.3  # of the reach


def all_passes(net: LandmarkNet, spool: Spool, sightings: list[Sighting]) -> list[Path]:
    """Passes forwards and backwards that together cover every sighting."""
    paths: list[Path] = []
    for step in (1, -1):
        for sighting in sorted(sightings, key=lambda s: s.frames[0] if step > 0 else -s.frames[-1]):
            same_way = [p for p in paths if p.step == step]
            if not any(covers(p, sighting) for p in same_way):
                path = _from(net, spool, sighting, step, same_way)
                if path is not None:
                    paths.append(path)
    return paths


def covers(path: Path, sighting: Sighting) -> bool:
    """The pass is on this person at most of the looks of the sighting."""
    rows = np.asarray(sighting.frames) - path.first
    reach = np.array([f.reach for f in sighting.found])
    hips = np.linalg.norm(path.hips[rows] - np.array([f.hips for f in sighting.found]), axis=1)
    shoulders = np.linalg.norm(path.shoulders[rows] - np.array([f.shoulders for f in sighting.found]), axis=1)
    return float(np.mean((hips < NEAR * reach) & (shoulders < NEAR * reach))) >= COVERED


def _from(net: LandmarkNet, spool: Spool, sighting: Sighting, step: int, same_way: list[Path]) -> Path | None:
    """A pass from the sighting's first look (its last, backwards) at which the model recognises the person."""
    order = range(len(sighting.frames)) if step > 0 else range(len(sighting.frames) - 1, -1, -1)
    for k in list(order)[:3]:
        begun = begin(net, spool[sighting.frames[k]], sighting.found[k])
        if begun is None:
            continue
        met_in_a_row = 0

        def met(number: int, crop: Crop) -> bool:
            nonlocal met_in_a_row
            met_in_a_row = met_in_a_row + 1 if any(_same_crop(p, number, crop) for p in same_way) else 0
            return met_in_a_row >= 3

        return follow(net, spool, sighting.frames[k], begun[1], step, met=met)
    return None


def _same_crop(path: Path, number: int, crop: Crop) -> bool:
    x, y, side, angle = path.crop[number - path.first]
    if not path.valid[number - path.first]:
        return False
    turn = abs((angle - crop.angle + np.pi) % (2 * np.pi) - np.pi)
    return bool(np.hypot(x - crop.x, y - crop.y) < MEETS * crop.side and turn < 0.2 and 0.85 < side / crop.side < 1.18)
