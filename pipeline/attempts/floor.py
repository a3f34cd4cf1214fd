"""Where the floor is in the picture and which way is up, found from the athlete alone: what rests on the floor is low and still,
and a child who stands stands upright."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.attempts.nearby import fading_mean, gaussian_sums
from pipeline.attempts.once import once
from pipeline.geometry import angle_to, joint_angle, length, middle, turn
from pipeline.landmarks.track import INDEX, Track

# What a gymnast puts on the floor, and how far each point lies above it then, in trunk lengths (joint centre or landmark to skin).
RESTS = {"heel": 0.03, "foot_index": 0.03, "wrist": 0.08}
_POINTS = [INDEX[f"{side}_{part}"] for part in RESTS for side in ("left", "right")]
_ABOVE = np.repeat(list(RESTS.values()), 2)
SLOW = 0.8  # trunk lengths a second; a resting foot's landmark jitters less
SLOPE_SD = 3.0  # degrees; how far the floor's line may slope against level, for the phone's tilt and a view at an angle
MOST_SLOPE = 9.0  # degrees; what a phone at 1.5 m, four metres off and 30 degrees off square makes of a level floor, and 1 of tilt
LEVEL_SD = 2.0  # degrees; how level a phone is held before anything is known (common practice, no source)
STAND_REACH_S = 0.8  # how soon a stand's word on the floor fades beside another's
STANCE_SD = 1.2  # degrees; how upright a child stands (on computed movements 1)


@dataclass(frozen=True)
class Floor:
    """The floor as a line in the picture, with where it may have drifted to at each moment, and the upright.

    The line is where the athlete's path meets the floor. Seen at an angle it slopes though the phone is level, so the upright is
    not its normal but has its own direction.
    """

    slope: float  # picture y per picture x
    t: np.ndarray  # (n,) seconds
    y: np.ndarray  # (n,) picture y of the line at x = 0, moment by moment; constant where the camera stands still
    sd: float  # pixels; spread of the resting points around the line
    lean: float  # degrees the upright leans clockwise in the picture: how far the phone was turned the other way

    @property
    def up(self) -> np.ndarray:
        """(2,) unit vector of the picture that points up."""
        a = np.radians(self.lean)
        return np.array([np.sin(a), -np.cos(a)])

    def height(self, xy: np.ndarray, t: np.ndarray) -> np.ndarray:
        """Heights in pixels, along the upright, above the floor of points xy (n, ..., 2) at times t (n,); NaN where a point is missing."""
        base = np.interp(t, self.t, self.y).reshape((-1,) + (1,) * (xy.ndim - 2))
        a = np.radians(self.lean)
        return (base + self.slope * xy[..., 0] - xy[..., 1]) / (np.cos(a) + self.slope * np.sin(a))

    def level(self, xy: np.ndarray) -> np.ndarray:
        """Points (..., 2) turned so that up is straight up in the picture."""
        a = -np.radians(self.lean)
        return xy @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])


def lean_of_the_upright(track: Track, unit: float) -> float:
    """Degrees the upright leans clockwise in the picture: the mean line ankles-shoulders of the moments in which the athlete
    stands (legs straight, feet together), drawn towards 0 as far as a child's stance is less sure than a phone held level."""
    ankle, hip, shoulder = (middle(track[f"left_{p}"], track[f"right_{p}"]) for p in ("ankle", "hip", "shoulder"))
    up = np.array([0.0, -1.0])
    with np.errstate(invalid="ignore"):
        stands = (angle_to(shoulder - ankle, up) < 15) & (joint_angle(shoulder, hip, ankle) > 162)
        stands &= (length(track["left_ankle"], track["right_ankle"]) < 0.7 * unit) & (length(shoulder, ankle) > 2.0 * unit)
    if stands.sum() < 3:
        return 0.0
    seen = float(np.median(turn(up, (shoulder - ankle)[stands])))
    return seen * LEVEL_SD**2 / (LEVEL_SD**2 + STANCE_SD**2)


@once
def find_floor(track: Track, unit: float) -> Floor | None:
    """The floor line of a clip, or None where nothing was ever seen to rest.

    unit: the athlete's trunk in pixels. Method: of each frame the lowest of heels, toes and hands, if it is nearly still, is a
    resting point; a line is fitted through them with weights that forget what lies above it (an asymmetric robust fit), its
    slope held towards level unless resting points far apart say otherwise; then its height may follow them slowly in time.
    """
    low, x, t = _resting(track, unit)
    if len(low) < 5:
        return None
    slope, base, sd = _asymmetric_line(x, low, unit)
    bend = _where_she_stands(track, unit, slope, base)
    residual = low - base - slope * x - np.interp(t, track.t, bend)
    near = np.abs(residual) < max(3 * sd, 0.15 * unit)
    y = base + bend
    if near.sum() >= 5:
        y = y + _follow(track.t, t[near], residual[near], prior_sd=0.06 * unit, point_sd=max(sd, 0.01 * unit))
    return Floor(float(slope), track.t, y, float(sd), lean_of_the_upright(track, unit))


def _where_she_stands(track: Track, unit: float, slope: float, base: float) -> np.ndarray:
    """(n,) pixels by which the floor lies below a line at each moment, as the feet say of an athlete who stands: those are on the floor
    for certain, whatever the rest of the clip looks like. 0 where she never stands.

    A floor followed over many metres by a phone that turns is no straight line in the picture. Between stands the nearer one in time
    counts more.
    """
    feet = track.xy[:, [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("heel", "foot_index")]]
    ankle, hip, shoulder = (middle(track[f"left_{p}"], track[f"right_{p}"]) for p in ("ankle", "hip", "shoulder"))
    with np.errstate(invalid="ignore"):
        stands = (angle_to(shoulder - ankle, np.array([0.0, -1.0])) < 15) & (joint_angle(shoulder, hip, ankle) > 155)
        stands &= (length(shoulder, ankle) > 1.9 * unit) & (length(track["left_ankle"], track["right_ankle"]) < 0.7 * unit)
    away = feet[..., 1] + RESTS["heel"] * unit - base - slope * feet[..., 0]
    stands &= np.isfinite(away).all(axis=1) & (_speed(track, feet, unit) < SLOW).all(axis=1)
    if stands.sum() < 5:
        return np.zeros(len(track))
    value, at = away[stands].max(axis=1), track.t[stands]
    return fading_mean(track.t, at, value, STAND_REACH_S)


def _speed(track: Track, xy: np.ndarray, unit: float) -> np.ndarray:
    """(n, k) trunk lengths a second of points (n, k, 2) of a track; NaN at the ends and by gaps."""
    speed = np.full(xy.shape[:2], np.nan)
    if len(track) > 2:
        step = (track.t[2:] - track.t[:-2])[:, None]
        speed[1:-1] = np.linalg.norm(xy[2:] - xy[:-2], axis=-1) / step / unit
    return speed


def _resting(track: Track, unit: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """y, x and times of the points seen to rest: the lowest foot or hand of each frame where it hardly moves."""
    xy = track.xy[:, _POINTS]
    with np.errstate(invalid="ignore"):
        y = xy[..., 1] + _ABOVE * unit
        y = np.where(_speed(track, xy, unit) < SLOW, y, np.nan)
    usable = np.isfinite(y).any(axis=1)
    i = np.flatnonzero(usable)
    j = np.nanargmax(y[i], axis=1) if len(i) else np.zeros(0, int)
    return y[i, j], xy[i, j, 0], track.t[i]


def _asymmetric_line(x: np.ndarray, y: np.ndarray, unit: float) -> tuple[float, float, float]:
    """(slope, y at x = 0, sd) of the line along the low edge (large y) of a cloud of points, from several starts."""
    centre = float(np.median(x))
    fits = [_improve(x - centre, y, unit, np.tan(np.radians(start))) for start in np.arange(-9.0, 9.1, 3.0)]
    fits = [f for f in fits if abs(np.degrees(np.arctan(f[0]))) <= MOST_SLOPE] or [_improve(x - centre, y, unit, 0.0, fixed=True)]
    slope, base, sd = min(fits, key=lambda f: _cost(x - centre, y, unit, f[0], f[1]))
    return slope, base - slope * centre, sd


def _looks(count: float) -> float:
    """How many independent looks resting points are worth: a foot at rest repeats itself from frame to frame."""
    return min(count, 30.0)


def _cost(dx: np.ndarray, y: np.ndarray, unit: float, slope: float, base: float) -> float:
    """What a line leaves unexplained: points above it cost at most 1 each, points under the floor without bound."""
    residual = (y - base - slope * dx) / (0.08 * unit)
    above, under = np.minimum(residual, 0) ** 2, np.maximum(residual, 0)
    cost = np.mean(above / (1 + above) + np.log1p(under**2))
    return float(_looks(len(y)) * cost + 0.5 * (np.degrees(np.arctan(slope)) / SLOPE_SD) ** 2)


def _improve(dx: np.ndarray, y: np.ndarray, unit: float, slope: float, *, fixed: bool = False) -> tuple[float, float, float]:
    """(slope, base, sd): the line reached from a first slope, or with that slope `fixed`, by reweighted least squares."""
    base, sd = float(np.quantile(y - slope * dx, 0.8)), 0.05 * unit
    for _ in range(12):
        residual = (y - base - slope * dx) / (2.0 * sd)
        weight = np.where(residual < 0, 1 / (1 + residual**2) ** 2, 1 / (1 + (residual / 2) ** 2))
        total = weight.sum()
        share = _looks(total) / total / max(sd, 0.03 * unit) ** 2  # a resting foot rolls and lifts by this much
        design = np.array([[total, (weight * dx).sum()], [(weight * dx).sum(), (weight * dx**2).sum()]]) * share
        design[1, 1] += 1e12 if fixed else 1 / np.tan(np.radians(SLOPE_SD)) ** 2
        base, slope = np.linalg.solve(design, np.array([(weight * y).sum(), (weight * dx * y).sum()]) * share)
        spread = np.abs(y - base - slope * dx)[weight > 0.25]
        if len(spread):
            sd = float(np.clip(1.4826 * np.median(spread), 0.01 * unit, 0.08 * unit))
    return float(slope), float(base), sd


def _follow(t: np.ndarray, at: np.ndarray, value: np.ndarray, *, prior_sd: float, point_sd: float, width: float = 0.6) -> np.ndarray:
    """Slow drift of `value` seen at times `at`, at every t: a kernel mean in time drawn towards 0 where little was seen."""
    robust = 1 / (1 + (value / (2 * prior_sd)) ** 2)
    looks, seen = gaussian_sums(t, at, np.stack([robust, robust * value], axis=1), width).T
    return seen / (looks + (point_sd / prior_sd) ** 2 * 5)
