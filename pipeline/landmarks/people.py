"""Finding people where they stand upright, a few times a second, and linking what is surely the same person."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.landmarks.detector import Detector, Found
from pipeline.landmarks.movement import Movement
from pipeline.landmarks.spool import Spool

Region = tuple[float, float, float, float]  # x0, y0, x1, y1 pixels
GATE = 0.45  # of the body's reach: how far hips may be between two looks to be linked (plus what time allows)
SPEED = 1.2  # reaches per second a person is taken to move at most between two looks
SIZE_STEP = 1.35  # ratio of reach between two looks
INNER = 0.1  # of a tile's side: someone whose hips are nearer to its inner border belongs to the next tile
WELL_INSIDE = 0.33  # of a tile's side from its middle
MOST_TILES = 7  # squares along a picture, however long it is
ALL_TILES = 4  # every so many looks all tiles are looked at, for people who come
NEAR = 0.6  # of the picture's shorter side: the squares looked at where it moves
CLEARLY = 0.7  # score of someone seen clearly
SMALLEST = 12  # pixels of reach
ONE_PERSON = 0.3  # of the reach: two finds nearer than this are one person
UNLIKE = 2.5  # a link must be so many times nearer than the next
LONGEST_GAP_S = 0.8  # a person not found for longer begins a new sighting; following joins them


@dataclass(eq=False)
class Sighting:
    """One person found again and again, without a long gap."""

    frames: list[int] = field(default_factory=list)
    found: list[Found] = field(default_factory=list)

    @property
    def score(self) -> float:
        """Mean detector score."""
        return float(np.mean([f.score for f in self.found]))

    def at(self, frames: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """((n, 2) hips, (n, 2) shoulders) at frame numbers within the sighting, NaN outside."""
        outside = (frames < self.frames[0]) | (frames > self.frames[-1])
        out = []
        for points in (np.array([f.hips for f in self.found]), np.array([f.shoulders for f in self.found])):
            placed = np.stack([np.interp(frames, self.frames, points[:, k]) for k in (0, 1)], axis=1)
            placed[outside] = np.nan
            out.append(placed)
        return out[0], out[1]


def survey(spool: Spool, detector: Detector, camera: np.ndarray, *, per_second: float, least: float) -> list[Sighting]:
    """Everybody who can be found in a stretch, as sightings. The first and the last frame are looked at most closely.

    `camera` (n, 2) is the scene's shift. Where it moves, smaller squares are looked at as well: in a large one small people run
    into one another.
    """
    instants = look_at(spool, per_second)
    movement = Movement(spool, camera, instants)
    near = NEAR * min(spool.size)
    tiles = regions(*spool.size)
    open_, closed = [], []
    for k, number in enumerate(instants):
        t = spool.t[number - spool.first]
        left = []
        for sighting in open_:
            gap = t - spool.t[sighting.frames[-1] - spool.first]
            (left if gap <= LONGEST_GAP_S else closed).append(sighting)
        open_ = left
        closely = k < 2 or k >= len(instants) - 2 or k % ALL_TILES == 0
        places = tiles if closely else _tiles_of(tiles, [s.found[-1] for s in open_])
        people = find(detector, spool[number], places, least=least)
        if closely or not _alone(people):
            people = find(detector, spool[number], movement.windows(number, near, 2), least=least, known=people)
        pairs = sorted(
            (_distance(s.found[-1], f, t - spool.t[s.frames[-1] - spool.first]), i, j)
            for i, s in enumerate(open_)
            for j, f in enumerate(people)
        )
        taken_s, taken_f = set(), set()
        for distance, i, j in pairs:
            if distance <= 1 and i not in taken_s and j not in taken_f and not _ambiguous(pairs, distance, i, j):
                open_[i].frames.append(number)
                open_[i].found.append(people[j])
                taken_s.add(i)
                taken_f.add(j)
        open_ += [Sighting([number], [f]) for j, f in enumerate(people) if j not in taken_f]
    return closed + open_


def _alone(people: list[Found]) -> bool:
    """One person was found, and clearly."""
    return len(people) == 1 and people[0].score > CLEARLY


def _ambiguous(pairs: list[tuple[float, int, int]], distance: float, i: int, j: int) -> bool:
    """Someone else could as well be the one found here: better no link than a wrong one."""
    return any(other < UNLIKE * distance + 0.15 for other, k, f in pairs if f == j and k != i)


def regions(width: int, height: int) -> list[Region]:
    """Squares of the picture's shorter side along its longer one, overlapping by a quarter or more, at least two if it is not square.

    In the whole of a wide picture people come out small for the detector, and neighbours run into one. A strip, longer than five times
    its height, which no phone films, has `MOST_TILES` squares that reach beyond its edges.
    """
    short, long = min(width, height), max(width, height)
    side = max(short, long / (0.75 * MOST_TILES + 0.25))
    count = int(np.ceil((long / side - 0.25) / 0.75 - 1e-9))
    starts = np.linspace(0, long - side, count) if count > 1 else np.zeros(1)
    edge = (short - side) / 2
    return [(s, edge, s + side, edge + side) if width >= height else (edge, s, edge + side, s + side) for s in starts]


def _tiles_of(tiles: list[Region], people: list[Found]) -> list[Region]:
    """The fewest tiles, in whose middles these people are; all where nobody is known."""

    def off(tile: Region, one: Found) -> float:
        return float(max(abs(one.hips[0] - (tile[0] + tile[2]) / 2), abs(one.hips[1] - (tile[1] + tile[3]) / 2)) / (tile[2] - tile[0]))

    left, chosen = list(people), []
    while left:
        best = max(tiles, key=lambda tile: (sum(off(tile, p) < WELL_INSIDE for p in left), -min(off(tile, p) for p in left)))
        chosen.append(best)
        left = [p for p in left if off(best, p) >= WELL_INSIDE and best != min(tiles, key=lambda tile: off(tile, p))]
    return chosen or tiles


def find(detector: Detector, image: np.ndarray, tiles: list[Region], *, least: float, known: Sequence[Found] = ()) -> list[Found]:
    """Everybody found in the tiles of a picture, or `known` from larger ones, each once."""
    height, width = image.shape[:2]
    seen: list[tuple[bool, Found]] = [(False, one) for one in known]
    for x0, y0, x1, y1 in tiles:
        for one in detector(image, least=least, region=(x0, y0, x1, y1)):
            (hx, hy), margin = one.hips, INNER * (x1 - x0)
            inside = (
                (hx > x0 + margin or x0 <= 0)
                and (hx < x1 - margin or x1 >= width)
                and (hy > y0 + margin or y0 <= 0)
                and (hy < y1 - margin or y1 >= height)
            )
            if inside and one.reach > SMALLEST:
                seen.append((True, one))
    kept: list[Found] = []
    for _, one in sorted(seen, key=lambda f: (not f[0], -f[1].score)):  # from a smaller square first: there people stand apart
        if all(np.hypot(*(one.hips - k.hips)) > ONE_PERSON * max(one.reach, k.reach) for k in kept):
            kept.append(one)
    return kept


def look_at(spool: Spool, per_second: float) -> list[int]:
    """Frame numbers to look at: evenly in time, with both ends."""
    t = np.asarray(spool.t)
    if len(t) == 1:
        return [spool.first]
    steps = max(int(np.ceil((t[-1] - t[0]) * per_second)), 1)
    wanted = np.linspace(t[0], t[-1], steps + 1)
    return sorted({spool.first + int(np.argmin(np.abs(t - w))) for w in wanted})


def _distance(before: Found, now: Found, gap_s: float) -> float:
    """Up to 1 where the two can be one person."""
    reach = (before.reach * now.reach) ** 0.5
    ratio = max(before.reach, now.reach) / min(before.reach, now.reach)
    if ratio > SIZE_STEP:
        return np.inf
    return float(np.hypot(*(now.hips - before.hips)) / reach / (GATE + SPEED * gap_s))
