"""A track as the few signals that tell skills apart, in the body's own units and on an even clock."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.attempts.floor import Floor, find_floor
from pipeline.attempts.nearby import gaussian_sums
from pipeline.attempts.once import once
from pipeline.geometry import joint_angle, length, middle, turn
from pipeline.landmarks.track import INDEX, NAMES, Track

RATE = 30.0  # signals a second; body movements of children in these skills have little above 6 Hz (Winter, from memory)
JUMP, JUMP_SPEED = 0.7, 12.0  # trunks, and trunks a second (about 5 m/s): nobody moves so from one frame to the next
SCALE_S, SMALLEST = 2.0, 0.7  # seconds to either side over which her size in the picture is read, and the least it is taken for
BRIDGE_S = 0.3  # gaps up to this are bridged by a straight line when looking for skills; readings never use bridged frames
FASTEST_TURN = 1200.0  # degrees a second: no trunk turns so fast (on computed movements up to 520); then its ends were mixed up
LONGEST_FLIP = 30  # samples between a leap away and one back
SIDES = ("left", "right")


@once
def trunk_length(track: Track) -> float:
    """The athlete's trunk (middle of shoulders to middle of hips) in pixels, NaN where never seen.

    Foreshortening only ever shortens it, so a high quantile over the clip is the trunk seen square on.
    """
    trunk = length(middle(track["left_shoulder"], track["right_shoulder"]), middle(track["left_hip"], track["right_hip"]))
    trunk = trunk[np.isfinite(trunk)]
    return float(np.quantile(trunk, 0.8)) if len(trunk) else float("nan")


@dataclass(frozen=True)
class Signals:
    """All arrays are on the clock `t`; lengths in trunk lengths, heights above the floor, angles in degrees, NaN = not known."""

    t: np.ndarray  # (n,) seconds, evenly spaced
    xy: np.ndarray  # (n, 33, 2) pixels, turned so that up is straight up in the picture
    height: np.ndarray  # (n, 33) above the floor
    trunk_turn: np.ndarray  # (n,) the trunk's tilt from upright, clockwise, counted on through whole turns
    knee: np.ndarray  # (n, 2) knee angles, left and right
    speed: np.ndarray  # (n,) how fast trunk and legs change their shape (their faster joints), trunks a second; see `shape_speed`
    steady: np.ndarray  # (n,) the same without the rise and fall of the shoulders, which the arms lift: what tells standing still
    scale: np.ndarray  # (n,) how large the athlete appears around this moment, 1 where she is nearest; a routine leads her away
    unit: float  # pixels a trunk
    floor: Floor
    cuts: np.ndarray  # (k,) samples before which the track jumped to another place: somebody else, or the athlete found again

    def h(self, part: str) -> np.ndarray:
        """(n, 2) heights of a left/right part."""
        return self.height[:, [INDEX[f"{side}_{part}"] for side in SIDES]]

    def p(self, part: str) -> np.ndarray:
        """(n, 2, 2) places of a left/right part in trunk lengths, y down."""
        return self.xy[:, [INDEX[f"{side}_{part}"] for side in SIDES]] / self.unit

    def between(self, start: float, end: float) -> np.ndarray:
        """(n,) bool: the samples from start to end."""
        return (self.t >= start - 1e-9) & (self.t <= end + 1e-9)


def signals(track: Track) -> Signals | None:
    """The signals of a track, or None where too little of the athlete was seen to say anything."""
    unit = trunk_length(track)
    if not np.isfinite(unit) or unit < 5 or track.seen.sum() < 5:
        return None
    floor = find_floor(track, unit)
    if floor is None:
        return None
    t = np.arange(track.t[0], track.t[-1] + 1e-9, 1 / RATE)
    xy = resample(track.t, track.xy.reshape(len(track), -1), t).reshape(len(t), len(NAMES), 2)
    height = floor.height(xy, t) / unit
    xy = floor.level(xy)
    shoulder, hip = (_mid(xy, part) for part in ("shoulder", "hip"))
    trunk_turn = unwrap(without_flips(turn(np.array([0.0, -1.0]), shoulder - hip)))
    knee = np.stack([joint_angle(*(xy[:, INDEX[f"{side}_{part}"]] for part in ("hip", "knee", "ankle"))) for side in SIDES], axis=-1)
    body = [INDEX[f"{side}_{part}"] for part in ("shoulder", "hip", "knee", "ankle") for side in SIDES]
    legs = [INDEX[f"{side}_{part}"] for part in ("hip", "knee", "ankle") for side in SIDES]
    speed, steady = (smooth(v / unit, 5) for v in (shape_speed(xy[:, body], t), shape_speed(xy[:, legs], t, aside=xy[:, body[:2], :1])))
    scale = local_scale(length(shoulder, hip) / unit)
    return Signals(t, xy, height, trunk_turn, knee, speed, steady, scale, unit, floor, find_cuts(track, t, unit))


def local_scale(trunk: np.ndarray) -> np.ndarray:
    """(n,) the trunk's length (n,) around each moment, in the clip's own, SMALLEST to 1: a high quantile, for a trunk that is bent or
    turned looks short for a while."""
    half = int(SCALE_S * RATE)
    beyond = np.full(half, np.nan)
    near = np.sort(np.lib.stride_tricks.sliding_window_view(np.concatenate([beyond, trunk, beyond]), 2 * half + 1), axis=1)  # NaN last
    at = 0.8 * np.fmax(np.isfinite(near).sum(axis=1) - 1, 0)
    below = at.astype(int)
    rows, share = np.arange(len(near)), at - below
    lower, upper = near[rows, below], near[rows, np.minimum(below + 1, near.shape[1] - 1)]
    out = lower + np.where(share > 0, share * (upper - lower), 0.0)
    return np.clip(np.where(np.isfinite(out), out, 1.0), SMALLEST, 1.0)


def find_cuts(track: Track, t: np.ndarray, unit: float) -> np.ndarray:
    """Samples of the clock t before which the middle of the body jumped faster and further than a child can."""
    body = [INDEX[f"{side}_{part}"] for part in ("shoulder", "hip", "knee") for side in SIDES]
    seen = np.isfinite(track.xy[:, body]).all(axis=(1, 2))
    when, middle_of = track.t[seen], track.xy[seen][:, body].mean(axis=1)
    far = np.linalg.norm(np.diff(middle_of, axis=0), axis=-1) / unit
    jumped = (far > JUMP) & (far > JUMP_SPEED * np.diff(when))
    return np.unique(np.searchsorted(t, when[1:][jumped]))


def shape_speed(points: np.ndarray, t: np.ndarray, *, aside: np.ndarray | None = None) -> np.ndarray:
    """(n,) how fast points (n, k, 2) move about their own middle: the 0.8 quantile over the points, in their unit a second.

    Taken about the middle, a panning or shaking camera does not count as movement. Arms are left out by the caller: they rise
    and fall before and after a skill. aside: (n, m, 1) the x of further points of which only that counts.
    """
    v = velocity(points.reshape(len(t), -1), t).reshape(points.shape)
    middle_of = v.mean(axis=1, keepdims=True)
    speeds = np.linalg.norm(v - middle_of, axis=-1)
    if aside is not None:
        sideways = velocity(aside.reshape(len(t), -1), t)
        speeds = np.concatenate([speeds, np.abs(sideways - middle_of[..., 0])], axis=1)
    all_there = np.isfinite(speeds).all(axis=1)
    out = np.full(len(t), np.nan)
    if all_there.any():
        out[all_there] = np.quantile(speeds[all_there], 0.8, axis=1)
    return out


def pair_mean(values: np.ndarray) -> np.ndarray:
    """Mean over axis 1 (left and right): of what is there, NaN only where neither is. (n, 2, ...) in, (n, ...) out.

    >>> pair_mean(np.array([[1.0, 3.0], [np.nan, 2.0]]))
    array([2., 2.])
    """
    return middle(values[:, 0], values[:, 1])


def _mid(xy: np.ndarray, part: str) -> np.ndarray:
    return middle(xy[:, INDEX[f"left_{part}"]], xy[:, INDEX[f"right_{part}"]])


def resample(at: np.ndarray, values: np.ndarray, t: np.ndarray, *, bridge: float = BRIDGE_S, width: float = 0.035) -> np.ndarray:
    """values (n, k) seen at the times `at`, wanted at `t`: a median-cleaned local mean, gaps over `bridge` seconds left NaN."""
    out = np.full((len(t), values.shape[1]), np.nan)
    for k in range(values.shape[1]):
        ok = np.isfinite(values[:, k])
        if ok.sum() < 2:
            continue
        when, v = at[ok], _median3(values[ok, k])
        right = np.clip(np.searchsorted(when, t), 1, len(when) - 1)
        gap = when[right] - when[right - 1]
        line = np.interp(t, when, v)
        if np.median(np.diff(when)) < width:  # a fast camera: average what lies within a sample's reach
            total, seen = gaussian_sums(t, when, np.stack([np.ones(len(v)), v], axis=1), width / 2).T
            near = total > 0.5
            line[near] = seen[near] / total[near]
        inside = (t >= when[0] - 1e-9) & (t <= when[-1] + 1e-9)
        out[:, k] = np.where(inside & (gap <= bridge), line, np.nan)
    return out


def velocity(values: np.ndarray, t: np.ndarray, *, half: int = 4) -> np.ndarray:
    """Slope over time of values (n, k) on an even clock: a straight line through up to 2*half+1 samples, gaps skipped.

    Unit a second; NaN where fewer than three samples were near. A line over 0.3 s lets landmark jitter through at a sixth of what
    a difference of neighbours does (Savitzky and Golay 1964).
    """
    ok = np.isfinite(values)
    v = np.where(ok, values, 0.0)
    sums = [np.zeros(values.shape) for _ in range(5)]  # count, x, xx, v, xv with x in samples from the middle
    for x in range(-half, half + 1):
        source = slice(max(0, x), len(t) + min(0, x))
        target = slice(max(0, -x), len(t) + min(0, -x))
        for total, part in zip(sums, (ok[source], x * ok[source], x * x * ok[source], v[source], x * v[source]), strict=True):
            total[target] += part
    count, sx, sxx, sv, sxv = sums
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = (count * sxv - sx * sv) / (count * sxx - sx**2)
    step = t[1] - t[0] if len(t) > 1 else 1.0
    return np.where((count >= 3) & ok, slope / step, np.nan)


def _median3(v: np.ndarray) -> np.ndarray:
    if len(v) < 3:
        return v
    out = v.copy()
    a, b, c = v[:-2], v[1:-1], v[2:]
    out[1:-1] = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return out


def bridged(mask: np.ndarray, longest: int) -> np.ndarray:
    """The mask (n,) with gaps between two True filled that are at most `longest` samples.

    >>> bridged(np.array([False, True, False, True, False, False, True]), 1)
    array([False,  True,  True,  True, False, False,  True])
    """
    out = mask.copy()
    for a, b in runs(~mask):
        if a > 0 and b < len(mask) - 1 and b - a + 1 <= longest:
            out[a : b + 1] = True
    return out


def smooth(v: np.ndarray, samples: int) -> np.ndarray:
    """Centred running mean that skips gaps; (n,) in and out, NaN only where nothing was near."""
    kernel = np.ones(samples)
    ok = np.isfinite(v)
    total = np.convolve(np.where(ok, v, 0.0), kernel, mode="same")
    count = np.convolve(ok.astype(float), kernel, mode="same")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, total / count, np.nan)


def without_flips(degrees: np.ndarray) -> np.ndarray:
    """Directions (n,) of the trunk on the even clock, NaN where it leapt away faster than a body can turn and soon leapt on: for a moment
    a small or folded body was seen head down.

    >>> without_flips(np.array([0.0, 2, 4, 170, 172, 8, 10]))
    array([ 0.,  2.,  4., nan, nan,  8., 10.])
    """
    known = np.flatnonzero(np.isfinite(degrees))
    v, out = degrees[known], degrees.copy()
    apart = lambda i, j: abs((v[j] - v[i] + 180) % 360 - 180)  # noqa: E731
    leaps = [i for i in range(1, len(v)) if apart(i - 1, i) > FASTEST_TURN / RATE * (known[i] - known[i - 1])]
    last = -1
    for i, j in pairwise(leaps):
        if i > last and known[j] - known[i] <= LONGEST_FLIP and apart(i - 1, j) <= FASTEST_TURN / RATE * (known[j] - known[i - 1]):
            out[known[i:j]] = np.nan
            last = j
    return out


def unwrap(degrees: np.ndarray) -> np.ndarray:
    """Angles counted on through whole turns, across gaps by the shorter way; NaN stays NaN."""
    out = np.array(degrees, float)
    ok = np.isfinite(out)
    out[ok] = np.degrees(np.unwrap(np.radians(out[ok])))
    return out


def runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """(first, last) indices of each run of True, in order.

    >>> runs(np.array([False, True, True, False, True]))
    [(1, 2), (4, 4)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
