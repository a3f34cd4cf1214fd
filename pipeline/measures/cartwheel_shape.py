"""The cartwheel's shape while upside down, seen from the front: legs apart and toes. The face cannot be seen to turn to the hands."""

from __future__ import annotations

import numpy as np

from pipeline.geometry import joint_angle, length
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.cartwheel import own_lengths
from pipeline.measures.look import BOTH, Look
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene
from pipeline.measures.uncertainty import PASSES_SHARE, Evidence, Table, angle_sd, make_reading, spread_of_median
from pipeline.vocabulary import Side, Skill

WIDEST = 0.95  # the largest angle is read as this quantile of the window, for jitter makes the very largest too large
SQUARE, PER_SHANK = (
    95.0,
    200.0,
)  # degrees of a foot whose heel and toes lie across the shank, and more for each shank the toes lie beyond the heel
FACE_TOO_SMALL = (
    "Which way the face looks while she is upside down cannot be told from a clip of the whole body: the face is small and turned away. "
    "Watch it from the side as her hands come down, or film the head and hands alone from close by."
)
SHORT, LONG = 0.6, 0.75  # of her own thigh: how long both must look to be taken to point at the camera, and not to
PLANTED = 0.12  # trunks; a hand this near to its own lowest place is on the floor


def between(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """(n,) degrees between directions, 0 to 180."""
    return joint_angle(u, np.zeros_like(u), v)


def thighs(scene: Scene) -> np.ndarray:
    """(n,) degrees between the thighs, hip to knee each, in the picture."""
    left, right = (scene.p(side, "knee") - scene.p(side, "hip") for side in BOTH)
    return between(left, right)


def opened(left: np.ndarray, right: np.ndarray, thigh: float) -> float:
    """Degrees (sd) by which the angle between two thighs (2,) pixels may look wider than it is, `thigh` pixels being her own length.

    Piked hips point both thighs at the camera (or both away), and what little of them lies across the picture opens up: 69 degrees can
    look like 166. With the depth put back that each lacks to its own length, the angle is the other end of what can be; half the way
    there is the sd. How long thighs look is not known well, so nothing is allowed while they look long, and all of it, smoothly, once
    they look short: 75 degrees look 140 when thighs look 0.65 of their length. A doubt, not a correction: in 12 of 14
    rendered cartwheels with thighs below 0.7 the legs were as far apart as they look, within 21 degrees.
    """
    flat = float(between(left[None], right[None])[0])
    sizes = np.linalg.norm([left, right], axis=1)
    whole = np.maximum(sizes, thigh)
    depth = np.sqrt(whole**2 - sizes**2)
    deep = float(np.degrees(np.arccos(np.clip((left @ right + depth.prod()) / whole.prod(), -1.0, 1.0))))
    short = float(np.clip((LONG - sizes.mean() / thigh) / (LONG - SHORT), 0.0, 1.0))
    return max(0.0, flat - deep) / 2 * short**2 * (3 - 2 * short)


def toes(scene: Scene, side: Side) -> np.ndarray:
    """(n,) degrees of a foot against its shank, 180 pointed: from how far heel to toes reach along the shank.

    A foot flexed towards the camera looks pointed in the picture. But pointed or not shows in how far the toes lie beyond the heel
    along the shank, whichever way the foot looks: on 22 feet of rendered clips this errs by 11 degrees where the angle knee-ankle-
    toes in the picture errs by 20.
    """
    knee, ankle = scene.p(side, "knee"), scene.p(side, "ankle")
    with np.errstate(invalid="ignore", divide="ignore"):
        along = (ankle - knee) / np.linalg.norm(ankle - knee, axis=-1, keepdims=True)
    beyond = np.sum((scene.p(side, "foot_index") - scene.p(side, "heel")) * along, axis=-1) / own_lengths(scene)[1]
    return np.clip(SQUARE + PER_SHANK * beyond, 0.0, 180.0)


def hand_place(scene: Scene, side: Side, frames: np.ndarray) -> np.ndarray:
    """(2,) pixels: the middle of wrist and knuckles while the hand is on the floor, over some frames; NaN where it was not seen."""
    spots = np.mean([scene.p(side, part) for part in ("wrist", "index", "pinky")], axis=0)
    y = np.where(frames, spots[:, 1], np.nan)
    if not np.isfinite(y).any():
        return np.full(2, np.nan)
    return np.nanmedian(spots[np.flatnonzero(y > np.nanmax(y) - PLANTED * scene.unit)], axis=0)


def readings(look: Look, table: Table) -> list[Reading]:
    """Legs apart, toes of each foot, and why eyes on the hands stays open."""
    scene = look.scene
    out = [make_reading(Skill.CARTWHEEL, "legs_apart", Side.NONE, _widest(scene), table)]
    out += [make_reading(Skill.CARTWHEEL, "toe_point", side, _toes(scene, side), table) for side in BOTH]
    problem = problem_of(scene, 1.0, "", "", words.FRONT_VIEW) or FACE_TOO_SMALL
    unseen = Evidence(float("nan"), line=("left_ear", "nose"), problem=problem)
    return [*out, make_reading(Skill.CARTWHEEL, "head_to_hands", Side.NONE, unseen, table)]


def _open(scene: Scene, frames: np.ndarray, what: str) -> tuple[np.ndarray, float, str]:
    """(which of the window's frames are known, their share, why nothing can be read)."""
    ok = np.isfinite(frames)
    share = float(ok.mean()) if len(ok) else 0.0
    problem = problem_of(scene, share, what, "time upside down", words.FRONT_VIEW)
    if not problem and ok.sum() < 3:
        problem = words.not_seen(what, share, "time upside down", words.FRONT_VIEW)
    return ok, share, problem


def _widest(scene: Scene) -> Evidence:
    frames, t = thighs(scene)[scene.key], scene.t[scene.key]
    line = names((Side.LEFT, "knee"), (Side.LEFT, "hip"), (Side.RIGHT, "hip"), (Side.RIGHT, "knee"))
    ok, share, problem = _open(scene, frames, "thighs")
    if problem:
        return Evidence(float("nan"), usable=share, line=line, problem=problem)
    value = float(np.quantile(frames[ok], WIDEST))
    i = int(np.flatnonzero(ok)[np.argmin(np.abs(frames[ok] - value))])
    parts = [(side, part) for side in BOTH for part in ("hip", "knee")]
    off = PASSES_SHARE / np.sqrt(2) * scene.noise(*parts)[scene.key][i]
    left, right = ((scene.p(side, "knee") - scene.p(side, "hip"))[scene.key][i] for side in BOTH)
    long = np.repeat(np.linalg.norm([left, right], axis=1), 2)
    passes = float(np.degrees(np.sqrt(np.sum((off / long) ** 2))))
    top = float(np.quantile(frames[ok], 1.0) - np.quantile(frames[ok], 0.85)) / 2  # a peak of one frame is doubtful
    below = opened(left, right, own_lengths(scene)[0])
    return Evidence(value, spread=top, passes=passes, usable=share, at_s=float(t[i]), line=line, limits=(0.0, 180.0), below=below)


def _toes(scene: Scene, side: Side) -> Evidence:
    frames, t = toes(scene, side)[scene.key], scene.t[scene.key]
    points = (side, "knee"), (side, "ankle"), (side, "foot_index")
    ok, share, problem = _open(scene, frames, f"{side} foot")
    if problem:
        return Evidence(float("nan"), usable=share, line=names(*points), problem=problem)
    value = float(np.median(frames[ok]))
    at = float(t[ok][np.argmin(np.abs(frames[ok] - value))])
    shank, foot = length(scene.p(side, "knee"), scene.p(side, "ankle")), length(scene.p(side, "ankle"), scene.p(side, "foot_index"))
    passes = angle_sd(scene.noise(*points), shank, foot)[scene.key]
    sd = float(np.nanmedian(passes[ok])) if np.isfinite(passes[ok]).any() else 0.0
    return Evidence(value, spread=spread_of_median(frames, t), passes=sd, usable=share, at_s=at, line=names(*points), limits=(0.0, 180.0))
