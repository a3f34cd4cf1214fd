"""How far off an angle is read in a single frame at such a pose: corrections of the curves, and of a cartwheel's knee over its window.

As learnt.py does for holds, at every frame: the pose in the trunk's own frame, and beside it the angle itself over some knots, the limbs'
lengths against the athlete's own longest, and how bends, trunk and legs were just before and after. Where she is in the attempt takes no
part: landmarks do not know it, and drawn rolls would teach their own motion. A rolling body upside down has a correction of its own, into
which the other one passes as the trunk turns over: a folded knee overhead is read far too straight. Made by
`python -m pipeline.bench pose-errors` (frame_pose_errors.csv); attempts that no network looked at twice are left as they are.
"""

from __future__ import annotations

import numpy as np

from pipeline.measures.learnt import BENDS, LIMBS, NAMES, SIDES, Correction, in_trunks, looked_at_twice, shape
from pipeline.measures.scene import Scene
from pipeline.vocabulary import Side, Skill

EACH, OVERHEAD, WINDOW = "each frame", "each frame overhead", "over the window"  # after the detail, in the table
KNOTS = (50, 70, 90, 110, 130, 150, 170, 190)  # degrees of the angle read
MOMENTS = (-0.2, -0.1, 0.1, 0.2)  # seconds from the frame
LONGEST = 0.85  # quantile of a limb's lengths over the attempt that is the athlete's own
TURNING = 1.5  # how fast one correction passes into the other with how far the shoulders lie below the hips, trunks
_AROUND = (
    *(f"{side}_{joint}_bend" for side in SIDES for joint in BENDS), "trunk_up", "trunk_ahead", "trunk_length",
    *(f"{side}_{limb}_length" for side in SIDES for limb in ("thigh", "shank")),
)  # fmt: skip
FRAME_NAMES = (
    *NAMES, *(f"beyond_{knot}" for knot in KNOTS), *(f"{side}_{limb}_of_longest" for side in SIDES for limb in LIMBS),
    *(f"{name}_{moment:+.1f}_s" for moment in MOMENTS for name in _AROUND),
)  # fmt: skip
_UP = FRAME_NAMES.index("trunk_up")
_LENGTHS = [FRAME_NAMES.index(f"{side}_{limb}_length") for side in SIDES for limb in LIMBS]
STRAIGHTISH = (120, 135, 150, 160, 165, 170, 175)  # degrees of a window's middle angle
WINDOW_NAMES = (
    "less_scatter", "middle", "fifth", "tenth", "least",
    *(f"{limb}_{share}" for share in (10, 50, 90) for limb in ("thigh", "shank")),
    *(f"{bend}_{share}" for share in (10, 90) for bend in ("own_hip", "own_knee", "own_ankle", "other_knee")),
    "by_length", *(f"beyond_{knot}" for knot in STRAIGHTISH),
)  # fmt: skip


def frame_numbers(scene: Scene, own: Side, angle: np.ndarray) -> np.ndarray:
    """(n, k) the numbers of FRAME_NAMES at every frame; angle (n,) degrees as read."""
    placed, deep, whole = in_trunks(scene, own)
    now = np.concatenate([placed.reshape(len(angle), -1), deep, whole, shape(placed)], axis=1)
    beyond = np.maximum(0.0, angle[:, None] - np.array(KNOTS))
    around = now[:, [NAMES.index(name) for name in _AROUND]]
    moments = [_at(scene.t, around, scene.t + moment) - around for moment in MOMENTS]
    return np.concatenate([now, beyond, now[:, _LENGTHS] / own_longest(scene, now), *moments], axis=1)


def own_longest(scene: Scene, numbers: np.ndarray) -> np.ndarray:
    """(10,) the athlete's own limbs: their lengths in trunks as seen at their longest within the attempt. numbers: as of FRAME_NAMES."""
    lengths = numbers[:, _LENGTHS][scene.inside]
    known = np.isfinite(lengths).any(axis=0) if len(lengths) else np.zeros(len(_LENGTHS), dtype=bool)
    return np.array([np.nanquantile(lengths[:, k], LONGEST) if ok else np.nan for k, ok in enumerate(known)])


def upside_down(numbers: np.ndarray) -> np.ndarray:
    """(n,) 0 to 1: how far the trunk is turned over; numbers (n, k) of FRAME_NAMES."""
    return np.clip(0.5 + TURNING * np.nan_to_num(numbers[:, _UP]), 0.0, 1.0)


def put_right_frames(scene: Scene, detail: str, own: Side, angle: np.ndarray) -> np.ndarray:
    """(n,) an angle's curve corrected by what was learnt of such poses; unchanged where nothing was. own: whose limb it is."""
    learnt, overhead = (scene.learnt.get((scene.skill, f"{detail} {which}")) for which in (EACH, OVERHEAD))
    if learnt is None or not looked_at_twice(scene):
        return angle
    numbers = frame_numbers(scene, own, angle)
    return angle + blended(numbers, learnt, overhead)


def blended(numbers: np.ndarray, learnt: Correction, overhead: Correction | None) -> np.ndarray:
    """(n,) what to add at the poses of numbers (n, k): one correction, or two that pass into each other as the trunk turns over."""
    if overhead is None:
        return learnt.each(numbers)
    share = upside_down(numbers)
    return (1 - share) * learnt.each(numbers) + share * overhead.each(numbers)


def window_numbers(scene: Scene, own: Side, angles: np.ndarray, least: float, by_length: float) -> np.ndarray:
    """(k,) the numbers of WINDOW_NAMES of a cartwheel's knee. angles (m,): the window's, corrected and known; least: their median less
    the scatter; by_length: degrees that the leg's length tells."""
    placed, _, _ = in_trunks(scene, own)
    limbs = shape(placed)
    longest = _quantiles(limbs[scene.inside][:, :2], [LONGEST])
    thigh_shank = _quantiles(limbs[scene.key][:, :2] / longest, [0.1, 0.5, 0.9])
    first = len(_LENGTHS) + len(SIDES)  # the bends begin there
    bends = _quantiles(limbs[scene.key][:, [first, first + 1, first + 4, first + 6]], [0.1, 0.9])
    middle = float(np.median(angles))
    usual = [least, middle, np.quantile(angles, 0.2), np.quantile(angles, 0.1), angles.min()]
    return np.concatenate([usual, thigh_shank.ravel(), bends.ravel(), [by_length], np.maximum(0.0, middle - np.array(STRAIGHTISH))])


def window_correction(scene: Scene, detail: str) -> Correction | None:
    """What was learnt of an angle over the window; None where nothing was, or no network looked twice."""
    assert scene.skill is Skill.CARTWHEEL  # the only one that has such
    return scene.learnt.get((scene.skill, f"{detail} {WINDOW}")) if looked_at_twice(scene) else None


def _at(t: np.ndarray, values: np.ndarray, moments: np.ndarray) -> np.ndarray:
    """(n, k) values (n, k) at other moments (n,), between what is known; the ends carry on."""
    out = np.full(values.shape, np.nan)
    for k in range(values.shape[1]):
        ok = np.isfinite(values[:, k])
        if ok.any():
            out[:, k] = np.interp(moments, t[ok], values[ok, k])
    return out


def _quantiles(values: np.ndarray, shares: list[float]) -> np.ndarray:
    """(s, k) of values (n, k); NaN where none is known."""
    known = np.isfinite(values).any(axis=0)
    return (
        np.where(known, np.nanquantile(np.where(known, values, 0.0), shares, axis=0), np.nan)
        if len(values)
        else np.full((len(shares), values.shape[1]), np.nan)
    )
