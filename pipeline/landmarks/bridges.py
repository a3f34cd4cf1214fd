"""Gaps of a person through which both directions run on, on one body: it is still this person.

In a fold clothes look like somebody else's, and a chain of passes prefers to be lost; but whom a pass forwards and a pass backwards
follow through the gap without a leap, and who is this person on either side of it, did not change in between.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.landmarks.chain import SAME, Passes
from pipeline.landmarks.clean import runs
from pipeline.landmarks.join import Person
from pipeline.landmarks.paths import Path, limbs_apart, torso

LONGEST_S = 1.0
LEAP = 0.5  # torsos from frame to frame that no pass may exceed
ALIKE = 0.65  # share of the gap in which a pass of the other direction is on the same body


def bridge(people: Sequence[Person], paths: Sequence[Path], passes: Passes) -> int:
    """Fill such gaps, in place, from the passes; who is seen for less time and was put on that body there loses it. The number of frames won."""
    won = 0
    for person in people:
        for start, stop in runs(~person.valid):
            if start == 0 or stop == len(passes.t) or passes.t[stop] - passes.t[start - 1] > LONGEST_S:
                continue
            through = next((k for k in range(len(paths)) if _runs_through(paths, passes, k, person, start, stop)), None)
            if through is None:
                continue
            rivals = [p for p in people if p is not person and _is_on(p, paths[through], start, stop)]
            if any(p.valid.sum() >= person.valid.sum() or _came_and_went(p, person, start, stop) for p in rivals):
                continue
            for rival in rivals:
                rival.lose(slice(start, stop))
            _take(person, paths[through], through, slice(start, stop))
            won += stop - start
    return won


def _runs_through(paths: Sequence[Path], passes: Passes, k: int, person: Person, start: int, stop: int) -> bool:
    path, rows = paths[k], slice(start - 1, stop + 1)
    if not passes.valid[k, rows].all():
        return False
    size = float(passes.torso[k, start - 1])
    if any(limbs_apart(path.xy[i], person.xy[i], size) > SAME for i in (start - 1, stop)):
        return False
    if (limbs_apart(path.xy[start : stop + 1], path.xy[start - 1 : stop], np.full(stop + 1 - start, size)) > LEAP).any():
        return False
    other_way = [m for m in range(len(paths)) if paths[m].step != path.step]
    return any(float(np.mean(passes.between[k, m, start:stop] < SAME)) >= ALIKE for m in other_way)


def _is_on(person: Person, path: Path, start: int, stop: int) -> bool:
    """The person is on the pass's body in some of the rows."""
    rows = slice(start, stop)
    size = np.maximum(np.nan_to_num(torso(path.xy[rows]), nan=1.0), 1.0)
    return bool((np.nan_to_num(limbs_apart(person.xy[rows], path.xy[rows], size), nan=np.inf) < SAME).any())


def _came_and_went(rival: Person, person: Person, start: int, stop: int) -> bool:
    """The rival was beside the person before or after: a body of its own, which leads to the one in question."""
    size = max(float(torso(person.xy[start - 1])), 1.0)
    return any(bool(rival.valid[i]) and limbs_apart(rival.xy[i], person.xy[i], size) >= SAME for i in (start - 1, stop))


def _take(person: Person, path: Path, number: int, rows: slice) -> None:
    for name in ("xy", "z", "visibility", "peak", "presence"):
        getattr(person, name)[rows] = getattr(path, name)[rows]
    person.disagreement[rows], person.chosen[rows] = np.nan, number
    if person.looked is not None:
        person.looked[rows] = path.looked[rows]
    if person.clothes is not None:
        person.clothes[rows] = path.clothes[rows]
