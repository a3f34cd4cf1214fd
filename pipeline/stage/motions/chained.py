"""Movements one after the other: a whole routine from single skills."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.contact import settle
from pipeline.stage.motions.movement import Movement
from pipeline.stage.pose import Placed
from pipeline.stage.timing import RATE, ramp


def chained(movements: Sequence[Movement], body: Body, *, blend: float = 0.0) -> Movement:
    """Movements one after the other: each starts where the one before it ended, facing the way that one ended.

    blend : seconds over which the last pose of one goes over into the next; 0 leaves a small jump.
    """
    t: list[np.ndarray] = []
    turn: list[np.ndarray] = []
    shift: list[np.ndarray] = []
    start, place, heading = 0.0, np.zeros(3), 0.0
    spans = []
    for m in movements:
        m = m if heading == 0 else m.turned(heading, (0.0, 0.0))
        first = 1 if t else 0
        hips = _hips(body, m.placed)
        move = (place - hips[0]) * np.array([1.0, 1.0, 0.0]) if t else np.zeros(3)
        placed = Placed(m.placed.turn, m.placed.shift + move)
        if t and blend:
            placed = _eased(body, Placed(turn[-1][-1:], shift[-1][-1:]), placed, m.t, blend)
        t.append(m.t[first:] + start)
        turn.append(placed.turn[first:])
        shift.append(placed.shift[first:])
        later = lambda window, start=start: None if window is None else (window[0] + start, window[1] + start)  # noqa: E731
        spans += [replace(s, start_s=s.start_s + start, end_s=s.end_s + start, hold=later(s.hold), lift=later(s.lift)) for s in m.spans]
        start += m.t[-1]
        place, heading = _hips(body, placed)[-1], heading + m.heading
    return Movement(np.concatenate(t), Placed(np.concatenate(turn), np.concatenate(shift)), tuple(spans), heading)


def _hips(body: Body, placed: Placed) -> np.ndarray:
    return 0.5 * (placed.joint(body, "upperleg01.L") + placed.joint(body, "upperleg01.R"))


def _eased(body: Body, last: Placed, placed: Placed, t: np.ndarray, seconds: float) -> Placed:
    """A movement whose first pose is `last`, going over into its own within `seconds`; bones keep their lengths, feet the floor."""
    from scipy.spatial.transform import Rotation

    n = int(np.searchsorted(t, t[0] + seconds)) + 1
    parents = np.array(body.parents)
    own = lambda turn: np.swapaxes(turn[:, np.maximum(parents, 0)], -1, -2) @ turn  # noqa: E731
    local, wanted = own(placed.turn[:n]), own(last.turn)[0]
    local[:, 0], wanted[0] = placed.turn[:n, 0], last.turn[0, 0]
    left = 1 - ramp(t[:n], t[0], t[0] + seconds)  # of the difference
    step = Rotation.from_matrix(wanted @ np.swapaxes(local[0], -1, -2)).as_rotvec()
    fade = Rotation.from_rotvec((left[:, None, None] * step).reshape(-1, 3)).as_matrix().reshape(n, -1, 3, 3)
    local = fade @ local
    turn, shift = np.empty_like(placed.turn[:n]), np.empty_like(placed.shift[:n])
    for i, p in enumerate(parents):
        if p < 0:
            turn[:, i], shift[:, i] = local[:, i], placed.shift[:n, i]
            continue
        turn[:, i] = turn[:, p] @ local[:, i]
        shift[:, i] = np.einsum("nij,j->ni", turn[:, p] - turn[:, i], body.heads[i]) + shift[:, p]
    eased = Placed(turn, shift)
    rest = _hips(body, placed)[:n] - _hips(body, eased)
    gap = _hips(body, last)[0] - _hips(body, placed)[0]
    eased = eased.moved(rest + left[:, None] * gap)
    floor = settle(body, eased, 1 / RATE)
    floor[:, 2] *= ramp(t[:n], t[0], t[0] + 0.1) * (1 - ramp(t[:n], t[n - 1] - 0.1, t[n - 1]))
    eased = eased.moved(floor)
    rest_of = Placed(placed.turn[n:], placed.shift[n:]).moved(np.tile(floor[-1] * np.array([1, 1, 0]), (len(t) - n, 1)))
    return Placed(np.concatenate([eased.turn, rest_of.turn]), np.concatenate([eased.shift, rest_of.shift]))


def cut(m: Movement, start: float, end: float | None = None) -> Movement:
    """The part of a movement from `start` to `end` seconds, its clock set to 0; spans are cut to it."""
    stop = m.t[-1] if end is None else end
    keep = (m.t >= start - 1e-9) & (m.t <= stop + 1e-9)
    first = float(m.t[keep][0])
    shorter = lambda w: None if w is None else (max(w[0] - first, 0.0), min(w[1], stop) - first)  # noqa: E731
    spans = tuple(
        replace(s, start_s=max(s.start_s - first, 0.0), end_s=min(s.end_s, stop) - first, hold=shorter(s.hold), lift=shorter(s.lift))
        for s in m.spans
    )  # fmt: skip
    return Movement(m.t[keep] - first, m.placed.at(keep), spans, m.heading)
