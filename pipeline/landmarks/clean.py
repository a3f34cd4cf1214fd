"""The athlete's points made steady: sides sorted by continuity, single wild points taken out. Gaps stay gaps."""

from __future__ import annotations

import warnings

import numpy as np

from pipeline.landmarks.sides import ARMS, LEGS

SWAPPED_FIRST, SWAPPED = 0.3, 0.006  # torsos: what it costs to begin swapped, and each frame of it: far less than a jump of legs apart
CROSSED = 1.0  # times hips' width times shoulders' width (torsos)
EDGE = 0.1  # torsos from the picture's edge
WILD, FARTHER = 0.35, 1.2  # torsos off the line between its neighbours, and times their distance
AROUND, AT_HOME = 4, 0.5  # frames to either side, and torsos from the middle of the point's places in them


def sort_sides(xy: np.ndarray, size: float, *extra: np.ndarray) -> np.ndarray:
    """Which frames have their legs (column 0) and arms (column 1) the other way round; swaps them in place.

    xy (n, 33, 2) and every `extra` (n, 33, ...) are changed together. A swap must make the movement much smoother.
    Viterbi over the two readings of every frame, from one gap to the next.
    """
    flipped = np.zeros((len(xy), 2), bool)
    for column, (left, right) in enumerate((LEGS, ARMS)):
        both, other = np.r_[left, right], np.r_[right, left]
        moving = both[[1, 2, 6, 7]] if column == 0 else both[[1, 2, 7, 8]]
        swapped = other[[1, 2, 6, 7]] if column == 0 else other[[1, 2, 7, 8]]
        for start, stop in runs(np.isfinite(xy[:, moving].sum((1, 2)))):
            crossed = _crossed(xy[start:stop], size) if column == 1 else np.zeros((2, stop - start))
            state = _viterbi(xy[start:stop][:, moving] / size, xy[start:stop][:, swapped] / size, crossed)
            flipped[start:stop, column] = state
        rows = np.flatnonzero(flipped[:, column])
        for values in (xy, *extra):
            values[np.ix_(rows, both)] = values[np.ix_(rows, other)]
    return flipped


def _crossed(xy: np.ndarray, size: float) -> np.ndarray:
    """(2, n) what it costs that the trunk is crossed, its shoulders the other way round than its hips: as named, and swapped."""
    along = ((xy[:, ARMS[0][0]] - xy[:, ARMS[1][0]]) * (xy[:, LEGS[0][0]] - xy[:, LEGS[1][0]])).sum(1) / size**2
    return CROSSED * np.maximum(np.nan_to_num(np.stack([-along, along])), 0.0)


def _viterbi(plain: np.ndarray, swapped: np.ndarray, more: np.ndarray) -> np.ndarray:
    """(n,) bool: the frame is better read swapped. Being swapped costs, so that the model's word stands where it is unclear.

    `more` (2, n) is what each reading of a frame costs besides.
    """
    n = len(plain)
    here = np.stack([plain, swapped])  # (2, n, k, 2)
    cost = np.array([0.0, SWAPPED_FIRST]) + more[:, 0]
    came = np.zeros((2, n), int)
    for i in range(1, n):
        step = np.linalg.norm(here[:, None, i] - here[None, :, i - 1], axis=-1).mean(-1)  # (now, before)
        total = cost[None] + step
        came[:, i] = total.argmin(1)
        cost = total.min(1) + np.array([0.0, SWAPPED]) + more[:, i]
    state = np.empty(n, int)
    state[-1] = int(cost.argmin())
    for i in range(n - 1, 0, -1):
        state[i - 1] = came[state[i], i]
    return state == 1


def drop_wild(xy: np.ndarray, t: np.ndarray, size: float) -> np.ndarray:
    """(n, 33) bool: points that leave for one or two frames and come back; to be taken for unseen.

    Beside a wild point a right one looks as if it had left: what is near the middle of its places around stays.
    """
    wild = np.zeros(xy.shape[:2], bool)
    for gap in (1, 2):
        for i in range(1, len(xy) - gap):
            before, after = xy[i - 1], xy[i + gap]
            share = ((t[i : i + gap] - t[i - 1]) / (t[i + gap] - t[i - 1]))[:, None, None]
            expected = before + share * (after - before)
            with np.errstate(invalid="ignore"):
                off = np.linalg.norm(xy[i : i + gap] - expected, axis=-1)
                moved = np.linalg.norm(after - before, axis=-1)
                wild[i : i + gap] |= (off > WILD * size) & (off > FARTHER * moved)
    for i in np.flatnonzero(wild.any(1)):
        around = np.delete(xy[max(i - AROUND, 0) : i + AROUND + 1, wild[i]], min(i, AROUND), axis=0)
        with warnings.catch_warnings(action="ignore", category=RuntimeWarning):  # no other place is known: it is taken for wild
            middle_of = np.nanmedian(around, axis=0)
        wild[i, wild[i]] = ~(np.linalg.norm(xy[i, wild[i]] - middle_of, axis=-1) < AT_HOME * size)
    return wild


def off_picture(xy: np.ndarray, width: float, height: float, size: float) -> np.ndarray:
    """(n, 33) bool: points beyond the picture's edge or so near to it that they may be, and what hangs on them.

    The model puts a hand or foot that is out of sight on the edge or somewhere inside: it is a guess, not a sight.
    """
    with np.errstate(invalid="ignore"):
        margin = np.minimum(np.minimum(xy[..., 0], width - xy[..., 0]), np.minimum(xy[..., 1], height - xy[..., 1]))
        off = margin < EDGE * size
    for side in (0, 1):
        for chain in (LEGS[side], ARMS[side]):
            root, middle, end = chain[:3]
            off[:, middle] |= off[:, root]
            off[:, end] |= off[:, middle]
            off[:, chain[3:]] |= off[:, [end]]
    return off


def runs(ok: np.ndarray) -> list[tuple[int, int]]:
    """(start, stop) of the runs of True."""
    edges = np.flatnonzero(np.diff(np.r_[False, ok, False].astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
