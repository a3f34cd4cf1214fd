"""A stick athlete with known joints: a pose is a handful of angles, its skeleton stands on the floor by the skin's lowest point.

Sagittal skills are posed in the plane forward-up with the legs and arms set apart sideways, so every angle built is the angle of the
joints in space.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from pipeline.landmarks.track import INDEX, NAMES

# A child of about eight in metres; joint to joint. Ratios to the trunk near Winter's segment table (from memory); exact values do not matter here.
TRUNK, UPPER_ARM, FOREARM, HAND, THIGH, SHANK, FOOT, HEEL = 0.40, 0.23, 0.20, 0.12, 0.31, 0.30, 0.14, 0.05
SHOULDERS, HIPS, NECK = 0.26, 0.17, 0.16
FLESH = {
    "hip": 0.09,
    "shoulder": 0.06,
    "knee": 0.05,
    "wrist": 0.03,
    "nose": 0.08,
    "heel": 0.012,
    "foot_index": 0.012,
}  # joint centre to skin


@dataclass(frozen=True)
class Pose:
    """Degrees. trunk: forward tilt from upright. Flexions: 0 is straight down from the trunk; hips and knees bend the way bodies do.

    `left_` and `right_` of arm, elbow, hip, knee; `spread` sets each leg apart sideways; `ankle` is knee-ankle-toe.
    """

    trunk: float = 0.0
    left_arm: float = 0.0
    right_arm: float = 0.0
    left_elbow: float = 0.0
    right_elbow: float = 0.0
    left_hip: float = 0.0
    right_hip: float = 0.0
    left_knee: float = 0.0
    right_knee: float = 0.0
    spread: float = 0.0
    ankle: float = 110.0

    def both(self, **angles: float) -> Pose:
        """The same with an angle set on both sides: `both(hip=90)`."""
        return replace(self, **{f"{side}_{name}": value for name, value in angles.items() for side in ("left", "right")})


def blend(times: list[float], poses: list[Pose], t: np.ndarray) -> list[Pose]:
    """Poses at the times t, eased from each key pose to the next and standing still outside."""
    names = list(Pose.__dataclass_fields__)
    keys = np.array([[getattr(p, n) for n in names] for p in poses])
    i = np.clip(np.searchsorted(times, t, side="right") - 1, 0, len(times) - 2)
    s = np.clip((t - np.take(times, i)) / (np.take(times, i + 1) - np.take(times, i)), 0, 1)
    s = (s * s * (3 - 2 * s))[:, None]
    return [Pose(**dict(zip(names, row, strict=True))) for row in keys[i] * (1 - s) + keys[i + 1] * s]


def tilted(degrees: float) -> np.ndarray:
    """Unit vector (forward, left, up) tilted forward from up."""
    a = np.radians(degrees)
    return np.array([np.sin(a), 0.0, np.cos(a)])


def aside(v: np.ndarray, degrees: float) -> np.ndarray:
    """v turned about the forward axis, towards the body's left for positive degrees when it points down."""
    a = np.radians(degrees)
    c, s = np.cos(a), np.sin(a)
    return np.array([v[0], v[1] * c - v[2] * s, v[1] * s + v[2] * c])


def skeleton(p: Pose) -> np.ndarray:
    """(33, 3) joints (forward, left, up) in metres with the middle of the hips at the origin."""
    out = np.zeros((len(NAMES), 3))

    def put(name: str, at: np.ndarray) -> np.ndarray:
        out[INDEX[name]] = at
        return at

    up = tilted(p.trunk)
    for side, sign in (("left", 1.0), ("right", -1.0)):
        arm, elbow = getattr(p, f"{side}_arm"), getattr(p, f"{side}_elbow")
        hip, knee = getattr(p, f"{side}_hip"), getattr(p, f"{side}_knee")
        shoulder = put(f"{side}_shoulder", TRUNK * up + np.array([0, sign * SHOULDERS / 2, 0]))
        at = put(f"{side}_elbow", shoulder + UPPER_ARM * tilted(p.trunk + 180 - arm))
        at = put(f"{side}_wrist", at + FOREARM * tilted(p.trunk + 180 - arm - elbow))
        tip = at + HAND * tilted(p.trunk + 180 - arm - elbow)
        for finger in ("pinky", "index", "thumb"):
            put(f"{side}_{finger}", tip)
        a = p.trunk + 180 - hip
        at = put(f"{side}_hip", np.array([0, sign * HIPS / 2, 0]))
        at = put(f"{side}_knee", at + THIGH * aside(tilted(a), sign * p.spread))
        at = put(f"{side}_ankle", at + SHANK * aside(tilted(a + knee), sign * p.spread))
        put(f"{side}_heel", at + HEEL * aside(tilted(a + knee + 20), sign * p.spread))
        put(f"{side}_foot_index", at + FOOT * aside(tilted(a + knee + 180 + p.ankle), sign * p.spread))
        put(f"{side}_ear", (TRUNK + NECK) * up + np.array([0, sign * 0.07, 0]))
        for eye in ("eye_inner", "eye", "eye_outer"):
            put(f"{side}_{eye}", (TRUNK + NECK + 0.02) * up + 0.09 * tilted(p.trunk + 90) + np.array([0, sign * 0.03, 0]))
        put(f"mouth_{side}", (TRUNK + NECK - 0.05) * up + 0.09 * tilted(p.trunk + 90) + np.array([0, sign * 0.02, 0]))
    put("nose", (TRUNK + NECK - 0.01) * up + 0.11 * tilted(p.trunk + 90))
    return out


SKIN = np.array([next((r for part, r in FLESH.items() if part in name), 0.0) for name in NAMES])


def on_floor(joints: np.ndarray, travel: np.ndarray | None = None) -> np.ndarray:
    """(n, 33, 3) joints moved so that the skin's lowest point is on the floor; `travel` (n, 3) is added."""
    lowest = gaussian_filter1d(
        (joints[..., 2] - SKIN).min(axis=1), 1.5, mode="nearest"
    )  # weight is taken over from part to part, not in a jump
    moved = joints - np.array([0, 0, 1.0]) * lowest[:, None, None]
    return moved if travel is None else moved + travel[:, None, :]
