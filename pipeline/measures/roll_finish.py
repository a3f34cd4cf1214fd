"""The backward roll's stand, seen from the side: how far the hips travel to and fro over the feet in its first second."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.track import INDEX
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.look import Look, leg_pixels
from pipeline.measures.reading import Reading
from pipeline.measures.smoothing import smooth_both_ways
from pipeline.measures.uncertainty import Evidence, Table, make_reading, robust_sd
from pipeline.vocabulary import Side, Skill

STOOD_S = 1.0
AT_LEAST_S = 0.7  # of standing seen; the path is brought to a whole second
WIDTH_S = 0.25  # half-width of the look around each moment: lets through what is slower than about 2 Hz, sway of standing is (from memory)
STANDS = 0.6  # of the leg: hips lower over the feet than this for a fifth of the time, and she is not standing yet
UNSEEN = 0.25  # of the path, sd: sway towards and away from the camera is not seen
TRIES, SEED = 24, 5
POINTS = ("left_hip", "right_hip", "left_heel", "right_heel", "left_foot_index", "right_foot_index")
LINE = names((Side.LEFT, "hip"), (Side.RIGHT, "hip"))
NOT_STOOD = "It could not be seen when she stood. Keep the whole body in the picture until she has stood still for a second."
TOO_SHORT = "The clip ends within the first second of standing, so its sway cannot be told. Film until she has stood for two seconds."


def over_the_feet(points: np.ndarray) -> np.ndarray:
    """(n,) pixels along the floor: the hips' middle before or behind the feet's middle. points: (n, 6) x of POINTS."""
    return points[:, :2].mean(axis=1) - points[:, 2:].mean(axis=1)


def high_over_the_feet(points: np.ndarray) -> np.ndarray:
    """(n,) pixels the hips' middle is above the feet's middle. points: (n, 6) y of POINTS, down."""
    return points[:, 2:].mean(axis=1) - points[:, :2].mean(axis=1)


def path(t: np.ndarray, along: np.ndarray) -> float:
    """Length of the way to and fro, smoothed, in the unit of `along`."""
    smooth, _ = smooth_both_ways(t, along[:, None], WIDTH_S)
    return float(np.sum(np.abs(np.diff(smooth[:, 0]))))


def path_without_jitter(t: np.ndarray, along: np.ndarray, rng: np.random.Generator) -> tuple[float, float]:
    """(length, sd) of a way to and fro, less what the landmarks' own jitter adds.

    The residuals of a smooth curve tell the jitter; as much again is laid on, and from how much longer that makes the path it is
    extrapolated to no jitter: jitter's lengths add in squares (simulation and extrapolation, Cook and Stefanski 1994).
    """
    smooth, _ = smooth_both_ways(t, along[:, None], WIDTH_S)
    left_over = along - smooth[:, 0]
    jitter = robust_sd(left_over) * np.sqrt(len(t) / max(len(t) - 4.0, 1.0))
    plain = path(t, along)
    noisier = np.array([path(t, along + jitter * rng.standard_normal(len(t))) for _ in range(TRIES)])
    square = 2 * plain**2 - float(np.mean(noisier**2))
    return float(np.sqrt(max(square, 0.0))), float(np.std(noisier)) + 0.25 * float(plain - np.sqrt(max(square, 0.0)))


def readings(look: Look, table: Table) -> list[Reading]:
    """The sway in the first second of standing, % of the leg."""
    s, start = look.scene, look.attempt.moment("standing_s")
    inside = (look.track.t >= start) & (look.track.t <= start + STOOD_S)
    placed = look.placed(look.track.xy[np.ix_(inside, np.array([INDEX[p] for p in POINTS]))])
    points = placed[..., 0]
    ok = np.isfinite(points).all(axis=1)
    share = float(ok.mean()) if len(ok) else 0.0
    t = look.track.t[inside][ok]
    seen = share if np.isfinite(start) else 1.0
    problem = problem_of(s, seen, "hips and feet", "first second of standing", words.SIDE_VIEW) or ("" if np.isfinite(start) else NOT_STOOD)
    if not problem and len(t) and float(np.quantile(high_over_the_feet(placed[ok][..., 1]), 0.2)) < STANDS * leg_pixels(s):
        problem = NOT_STOOD
    if not problem and (len(t) < 8 or t[-1] - t[0] < AT_LEAST_S):
        problem = TOO_SHORT
    if problem:
        return [
            make_reading(
                Skill.BACKWARD_ROLL, "standing_sway", Side.NONE, Evidence(float("nan"), usable=share, line=LINE, problem=problem), table
            )
        ]
    whole = STOOD_S / float(t[-1] - t[0])
    found, sd = path_without_jitter(t, over_the_feet(points[ok]), np.random.default_rng(SEED))
    per_cent = 100 * whole / leg_pixels(s)
    value = found * per_cent
    evidence = Evidence(value, spread=sd * per_cent, view=UNSEEN * value, usable=share, at_s=float(t[0]), line=LINE, limits=(0.0, np.inf))
    return [make_reading(Skill.BACKWARD_ROLL, "standing_sway", Side.NONE, evidence, table)]
