"""The floor under a backward roll, moment by moment, from what rests on it: hands, feet, head and shoulders, or the knees themselves.

In a roll something is on the floor at every moment. The lowest part of the body is taken to be what rests, so neither the phone's drift
nor the floor's line over the whole clip decides how high a knee is: only how it lies beside hands and feet at the same moment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.geometry import joint_angle
from pipeline.measures.scene import Scene, other
from pipeline.vocabulary import Side

# How far above the floor a part's landmark lies while the part rests on it, trunks: joint or knuckle to skin on rendered bodies of 5 to
# 18 years, and what landmarks lift it beyond that.
ABOVE = {"wrist": 0.075, "index": 0.067, "pinky": 0.067, "thumb": 0.063, "heel": 0.06, "foot_index": 0.02, "shoulder": 0.137, "ear": 0.14}
LIFTED = {
    "wrist": 0.03,
    "index": 0.018,
    "pinky": 0.018,
    "thumb": 0.027,
    "heel": 0.0,
    "foot_index": 0.04,
    "shoulder": 0.013,
    "ear": 0.02,
    "knee": 0.06,
}
# The knee's centre over the floor, share of the shank: nearer to the skin the more the knee is folded (sd 1 %; on the same bodies).
KNEE, KNEE_FOLDED = 0.127, 0.072
BEFORE_S, AFTER_S = 0.5, 0.5  # around feet overhead and the end: what rests there tells of the slope, too
SLOPES = np.arange(-6.0, 6.1, 1.5)  # degrees around the one expected
SLOPE_SD = 2.5  # degrees that is off (on followed clips 2.1)
LOOKS_DOWN, FEET_TELL = 0.08, 1.7  # how steeply a phone looks down: at least, and for each trunk between the feet (on the same clips)
MOST_BELOW = 0.3  # trunks
STOOD_S = 0.3  # into the attempt and before its end the feet stand side by side
COARSE_S, FINE_S = 0.6, 0.10  # how long the floor's level is held while the slope is sought, and then
NEAR = 0.06  # trunks; the lowest part this far off the level is as likely not the one that rests
WHOLE = 3.0  # times NEAR; where hands and feet are seen, only what lies much further off is a mistake
BOTH = (Side.LEFT, Side.RIGHT)
HAND = [list(ABOVE).index(part) for part in ("wrist", "index", "pinky", "thumb")]
SHOULDER = list(ABOVE).index("shoulder")
FOOT = [list(ABOVE).index("heel"), list(ABOVE).index("foot_index")]


def knee_above(fold: np.ndarray) -> np.ndarray:
    """(n,) share of the shank from the knee's centre to its underside; fold: the knee's angle, degrees."""
    return KNEE - KNEE_FOLDED * np.cos(np.radians(fold))


def undersides(scene: Scene, side: Side, shank: float) -> tuple[np.ndarray, np.ndarray]:
    """x, y (n, k) levelled pixels of the lowest skin of everything on one side that may rest, the knee last; y down."""
    points = [scene.p(side, part) for part in (*ABOVE, "knee")]
    fold = joint_angle(scene.p(side, "hip"), scene.p(side, "knee"), scene.p(side, "ankle"))
    above = [np.full(len(scene.t), (ABOVE[part] + LIFTED[part]) * scene.unit) for part in ABOVE]
    above.append(knee_above(fold) * shank + LIFTED["knee"] * scene.unit)
    return np.stack([p[:, 0] for p in points], axis=1), np.stack([p[:, 1] + a for p, a in zip(points, above, strict=True)], axis=1)


def level(t: np.ndarray, lowest: np.ndarray, unit: float, hold_s: float, whole: np.ndarray) -> np.ndarray:
    """(n,) where the floor is, from the lowest point at each moment (n,) (y down, NaN = nothing seen): their mean over about `hold_s`,
    without moments in which nothing that was seen rests (the lowest point lies well above), or something is read far too low.
    whole (n,): hands and feet were seen, so that something seen rests."""
    ok = np.isfinite(lowest)
    if ok.sum() < 3:
        return np.full(len(t), np.nan)
    near = np.exp(-0.5 * ((t[:, None] - t[None, ok]) / hold_s) ** 2)
    y = lowest[ok]
    about = np.abs(t[ok][:, None] - t[None, ok]) < 0.4
    base = np.nanquantile(np.where(about, y[None, :], np.nan), 0.7, axis=1)
    for _ in range(8):
        off = (y - base) / (NEAR * unit)
        weight = near * np.where(whole[ok], 1 / (1 + (off / WHOLE) ** 2), np.where(off < 0, 1 / (1 + off**2) ** 2, 1 / (1 + off**2)))
        out = weight @ y / np.maximum(weight.sum(axis=1), 1e-9)
        base = out[ok]
    return np.where(near.sum(axis=1) > 1e-3, out, np.nan)


@dataclass(frozen=True)
class Knee:
    """One knee over time, % of the shank."""

    clear: np.ndarray  # (n,) its underside above the floor beneath it
    over_foot: np.ndarray  # (n,) its underside above the lower end of the foot
    shoulder: np.ndarray  # (n,) the underside of the shoulder of its side above the floor


def knees(scene: Scene, shank: float) -> dict[Side, Knee]:
    """Both knees, above the floor and beside their feet, and the shoulders over them; NaN where knee or floor (or foot) is not known.

    shank: pixels.
    """
    within = _within(scene)
    parts = {side: undersides(scene, side, shank) for side in BOTH}
    slope = _slope(scene, parts, within)
    out = {}
    for side, (x, y) in parts.items():
        flat = y - slope * x
        floor = level(scene.t, _lowest(flat, within), scene.unit, FINE_S, seen_whole(y))
        foot = np.fmax(*flat[:, FOOT].T)
        out[side] = Knee(*(100 * high / shank for high in (floor - flat[:, -1], foot - flat[:, -1], floor - flat[:, SHOULDER])))
    return out


def seen_whole(y: np.ndarray) -> np.ndarray:
    """(n,) whether hand and foot are among the undersides (n, k) that were seen."""
    return np.isfinite(y[:, HAND]).any(axis=1) & np.isfinite(y[:, FOOT]).any(axis=1) & np.isfinite(y[:, -1])


def _within(scene: Scene) -> np.ndarray:
    if not scene.key.any():
        return scene.inside
    start, end = scene.t[scene.key][[0, -1]]
    return (scene.t >= start - BEFORE_S) & (scene.t <= end + AFTER_S)


def _lowest(flat: np.ndarray, within: np.ndarray) -> np.ndarray:
    """(n,) the lowest of the undersides (n, k), NaN outside the window or where none was seen."""
    return np.where(within & np.isfinite(flat).any(axis=1), np.max(np.nan_to_num(flat, nan=-np.inf), axis=1), np.nan)


def _slope(scene: Scene, parts: dict[Side, tuple[np.ndarray, np.ndarray]], within: np.ndarray) -> float:
    """Levelled picture y per picture x along the floor: near the one expected, the one by which what rests here and there is most alike."""
    expected = expected_slope(scene)
    squeeze = np.cos(np.radians(min(scene.off_square, 60.0))) if np.isfinite(scene.off_square) else 1.0
    costs = []
    for more in SLOPES:
        slope = np.tan(np.radians(expected + more)) * squeeze
        cost = (more / SLOPE_SD) ** 2
        for x, y in parts.values():
            lowest = _lowest(y - slope * x, within)
            off = (lowest - level(scene.t, lowest, scene.unit, COARSE_S, seen_whole(y))) / (0.05 * scene.unit)
            off = off[np.isfinite(off)]
            cost += (
                0.5 * min(len(off), 30) * float(np.mean(np.where(off < 0, off**2 / (1 + off**2), np.log1p(off**2)))) if len(off) else 0.0
            )
        costs.append(cost)
    return float(np.tan(np.radians(expected + SLOPES[int(np.argmin(costs))])) * squeeze)


def expected_slope(scene: Scene) -> float:
    """Degrees by which the floor along the roll slopes in the levelled picture: a level floor seen from above and off square.

    The way of the roll leads away from the phone by the view's angle; how steeply the phone looks down shows in how far below the farther
    foot the nearer one stands. The path of the feet over the clip does not tell it: the phone turns with the athlete.
    """
    if not np.isfinite(scene.off_square):
        return 0.0
    wide = np.concatenate([(scene.p(Side.LEFT, part) - scene.p(Side.RIGHT, part))[:, 0] for part in ("shoulder", "hip")])
    ahead = np.sign(np.nanmedian(wide)) if np.isfinite(wide).any() else 0.0
    nearer = 1.0 if scene.near is Side.LEFT else -1.0
    stood = scene.t < scene.t[scene.inside][0] + STOOD_S if scene.inside.any() else np.zeros(len(scene.t), bool)
    stood |= scene.t > scene.t[scene.inside][-1] - STOOD_S if scene.inside.any() else stood
    below = [(scene.p(scene.near, part) - scene.p(other(scene.near), part))[stood, 1] for part in ("ankle", "heel", "foot_index")]
    known = [float(np.nanmedian(b)) / scene.unit for b in below if np.isfinite(b).any()]
    down = LOOKS_DOWN + FEET_TELL * float(np.clip(np.median(known), 0.0, MOST_BELOW)) if known else LOOKS_DOWN + FEET_TELL * 0.1
    return float(np.degrees(np.arctan(-nearer * ahead * np.tan(np.radians(min(scene.off_square, 60.0))) * down)))
