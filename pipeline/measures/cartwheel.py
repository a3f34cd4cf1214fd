"""The cartwheel while upside down, seen from the front: each knee at its most bent, also where it bends towards the camera.

As its points draw it, `window_knee` and what was learnt of how that misses it, moved towards what a look from near by tells of it (told_knees.py).
"""

from __future__ import annotations

import numpy as np

from pipeline.geometry import joint_angle, length
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.learnt_frames import put_right_frames, window_correction, window_numbers
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene
from pipeline.measures.told_knees import least_told, told_knee
from pipeline.measures.uncertainty import Evidence, Table, angle_sd, make_reading, robust_sd
from pipeline.vocabulary import Side, Skill

BELOW = 1.0  # robust sds of the window's angles that the smallest is read below their median: jitter makes the very smallest too small
SHORT_ENOUGH = (
    25.0  # degrees; a leg that looks shorter than its own longest by what this bend would do may only be misplaced. What is beyond
)
# it widens the interval downwards, and only there: as a part of the value it did more harm than good on rendered clips
BOTH = (Side.LEFT, Side.RIGHT)


def knee_angle(scene: Scene, side: Side) -> np.ndarray:
    """(n,) degrees at a knee, in the picture."""
    return joint_angle(scene.p(side, "hip"), scene.p(side, "knee"), scene.p(side, "ankle"))


def own_lengths(scene: Scene) -> tuple[float, float]:
    """(thigh, shank) pixels: the athlete's own, from their longest appearances over the attempt (a high quantile), sides pooled."""
    out = []
    for a, b in (("hip", "knee"), ("knee", "ankle")):
        seen = np.concatenate([length(scene.p(side, a), scene.p(side, b))[scene.inside] for side in BOTH])
        seen = seen[np.isfinite(seen)]
        out.append(float(np.quantile(seen, 0.85)) if len(seen) else float("nan"))
    return out[0], out[1]


def reach(scene: Scene, side: Side) -> np.ndarray:
    """(n,) how long a leg looks, hip to ankle, against the athlete's own straight leg."""
    return length(scene.p(side, "hip"), scene.p(side, "ankle")) / sum(own_lengths(scene))


def knee_from_length(scene: Scene, side: Side) -> np.ndarray:
    """(n,) degrees at a knee whichever way it bends: a knee bent towards the camera brings the ankle nearer to the hip.

    By the law of cosines, from how long the leg looks against the longer-looking of the two: a view at an angle, or a bend at the
    hips, shortens both legs alike and is left out. 180 for the longer one.
    """
    thigh, shank = own_lengths(scene)
    both = np.stack([reach(scene, s) for s in BOTH])
    longest = np.where(np.isfinite(both).any(axis=0), np.nanmax(np.where(np.isfinite(both), both, -np.inf), axis=0), np.nan)
    apart = reach(scene, side) / longest * (thigh + shank)
    cosine = (thigh**2 + shank**2 - apart**2) / (2 * thigh * shank)
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def readings(scene: Scene, table: Table) -> list[Reading]:
    """The smallest knee angle of each leg over the inverted window."""
    found = {side: least_told(by_points(scene, side), *told_knee(scene, side)) for side in BOTH}
    return [make_reading(Skill.CARTWHEEL, "knee_angle", side, evidence, table) for side, evidence in found.items()]


def smallest(angles: np.ndarray) -> tuple[float, float]:
    """(the smallest of a window's angles, read through their jitter; their robust sd): the median less the scatter.

    A knee bent in depth shows as scatter too, for the body turns through the window, and where legs are misplaced their angle wanders:
    so the sd is the reading's own doubt. On 152 legs of rendered clips, each left out in turn, this is 6.9 degrees from the truth with a
    95th percentile of 19; the angle that a fifth of the window lies below 7.2 and 22, the median 7.5 and 25.
    """
    middle = float(np.median(angles))
    scatter = robust_sd(angles)
    return middle - BELOW * scatter, scatter


def window_angles(scene: Scene, side: Side) -> np.ndarray:
    """(m,) degrees at a knee in the frames of the window, corrected at their poses; NaN where it is not known."""
    return put_right_frames(scene, "knee_angle", side, knee_angle(scene, side))[scene.key]


def window_knee(scene: Scene, side: Side, frames: np.ndarray) -> tuple[float, float, np.ndarray]:
    """(degrees by the frames alone, their robust sd, the numbers that tell what it misses) of a window's known angles (m,)."""
    least, scatter = smallest(frames)
    by_length = float(np.nanmedian(knee_from_length(scene, side)[scene.key]))
    return least, scatter, window_numbers(scene, side, frames, least, by_length)


def by_points(scene: Scene, side: Side) -> Evidence:
    """The knee at its most bent as its points draw it: by what was learnt of how such windows' middle angle misses it, where there is such; else `smallest`."""
    window = scene.key
    frames, t = window_angles(scene, side), scene.t[window]
    ok = np.isfinite(frames)
    share = float(ok.mean()) if len(ok) else 0.0
    line = names((side, "hip"), (side, "knee"), (side, "ankle"))
    problem = problem_of(scene, share, f"{side} leg", "time upside down", words.FRONT_VIEW)
    if problem or not ok.any():
        return Evidence(float("nan"), usable=share, line=line, problem=problem)
    value, wander, numbers = window_knee(scene, side, frames[ok])
    learnt = window_correction(scene, "knee_angle")
    if learnt is not None:
        value = float(np.median(frames[ok])) + learnt.of(numbers)
    i = int(np.flatnonzero(ok)[np.argmin(np.abs(frames[ok] - value))])
    short = float(np.nanmedian(knee_from_length(scene, side)[window]))
    hidden = max(0.0, value - short - SHORT_ENOUGH)  # bend that the picture's angle does not show
    thigh, shank = (length(scene.p(side, a), scene.p(side, b))[window] for a, b in (("hip", "knee"), ("knee", "ankle")))
    passes = angle_sd(scene.noise((side, "hip"), (side, "knee"), (side, "ankle"))[window], thigh, shank)
    seen = np.nanmedian(passes[ok]) if np.isfinite(passes[ok]).any() else 0.0
    return Evidence(value, wander, 0.0, float(seen), share, float(t[i]), line, "", (0.0, 180.0), below=hidden)
