"""Two people who took each other's way where they came close, put right by their clothes before and after.

A pass from one side of the meeting and a pass from the other both slide over, smoothly, so that no leap tells. But what each wore
before is then what the other wears afterwards.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from pipeline.landmarks.clean import runs
from pipeline.landmarks.join import Person
from pipeline.landmarks.looks import Wardrobe, learn
from pipeline.landmarks.paths import limbs_apart, torso

CLOSE = 0.9  # torsos, mean over the main joints: nearer than this, two may take each other's way
EXCHANGED = 0.4  # of log-likelihood, of both before and after: so much better must they fit the other way round
MOST = 48  # frames that each part is judged by


def exchange(people: list[Person]) -> bool:
    """Give people who took each other's way their own back, in place; whether any did."""
    done = False
    for a, b in combinations(people, 2):
        told = [(fits_straight(a, b, i), i) for i in _meetings(a, b)]
        best = min((x for x in told if np.isfinite(x[0])), default=None)
        if best is not None and best[0] < -EXCHANGED:
            swap(a, b, best[1])
            done = True
    return done


def fits_straight(a: Person, b: Person, i: int) -> float:
    """How much better the clothes from row i on fit those before as the two are than the other way round; NaN where too little is seen."""
    parts = [_some(p.clothes[rows]) for p in (a, b) for rows in (slice(0, i), slice(i, None)) if p.clothes is not None]
    known = [learn(part) for part in parts]
    if len(parts) < 4 or any(one is None for one in known):
        return float("nan")

    def alike(k: int, m: int) -> float:
        one, other = known[k], known[m]
        assert one is not None and other is not None
        return (_fit(one, parts[m]) + _fit(other, parts[k])) / 2

    return alike(0, 1) + alike(2, 3) - alike(0, 3) - alike(2, 1)


def swap(a: Person, b: Person, i: int) -> None:
    """Let two people take each other's rows from row i on."""
    for name in ("xy", "z", "visibility", "peak", "presence", "disagreement", "chosen", "looked", "clothes", "sure"):
        mine, theirs = getattr(a, name), getattr(b, name)
        if mine is not None and theirs is not None:
            mine[i:], theirs[i:] = theirs[i:].copy(), mine[i:].copy()


def _meetings(a: Person, b: Person) -> list[int]:
    """Rows at which two come close, part again, or are closest."""
    size = np.fmax(np.fmax(np.nan_to_num(torso(a.xy)), np.nan_to_num(torso(b.xy))), 1.0)
    off = np.nan_to_num(limbs_apart(a.xy, b.xy, size), nan=np.inf)
    rows = {r for start, stop in runs(off < CLOSE) for r in (start, stop, start + int(off[start:stop].argmin()))}
    return sorted(r for r in rows if 0 < r < len(off))


def _some(clothes: np.ndarray) -> np.ndarray:
    """At most some of the looks at clothes (n, 26, 3), evenly over them."""
    seen = clothes[np.isfinite(clothes).any((1, 2))]
    return seen if len(seen) <= MOST else seen[np.linspace(0, len(seen) - 1, MOST).astype(int)]


def _fit(wardrobe: Wardrobe, seen: np.ndarray) -> float:
    return float(np.nanmean(wardrobe.fit(seen)))
