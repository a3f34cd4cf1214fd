"""Evidence for angles over a window: used by every skill."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline.geometry import joint_angle, length, signed_angle
from pipeline.measures import words
from pipeline.measures.scene import Scene
from pipeline.measures.uncertainty import Evidence, angle_sd, spread_of_median
from pipeline.vocabulary import Side, Skill

Point = tuple[Side, str]
VIEW_SD = 7.0  # degrees; how well the view's angle is known from apparent widths


def names(*points: Point) -> tuple[str, ...]:
    """Landmark names of some joints, for the line drawn on the picture."""
    return tuple(f"{side}_{part}" for side, part in points)


def angle_of(scene: Scene, a: Point, vertex: Point, c: Point, *, signed: bool = False) -> np.ndarray:
    """(n,) degrees at `vertex`, in the (corrected) picture."""
    p, q, r = scene.p(*a), scene.p(*vertex), scene.p(*c)
    return signed_angle(p, q, r, scene.facing) if signed else joint_angle(p, q, r)


def problem_of(scene: Scene, share: float, what: str, where: str, advice: str) -> str:
    """The first reason for which nothing may be read, or an empty string."""
    if not np.isfinite(scene.unit) or scene.unit < words.TOO_SMALL:
        return words.too_small()
    most = words.TOO_TURNED_FRONT if scene.skill is Skill.CARTWHEEL else words.TOO_TURNED
    if np.isfinite(scene.off_square) and scene.off_square > most:
        return words.too_turned(scene.off_square, advice)
    if scene.same_length < words.SAME_LENGTH:
        return words.another_body(scene.same_length, where)
    if share < words.FEW_SEEN:
        return words.not_seen(what, share, where, advice)
    return ""


def held_angle(
    scene: Scene, value_of: Callable[[Scene], np.ndarray], points: tuple[Point, ...], corner: tuple[Point, Point, Point], *, what: str, where: str = "hold",
    advice: str = words.SIDE_VIEW, limits: tuple[float, float] = (-np.inf, np.inf), fold: float | None = None,
) -> Evidence:  # fmt: skip
    """The median over the key window of a frame-by-frame value, with the parts of its error.

    value_of: scene -> (n,) degrees, asked again with the view turned a little; points: the line to draw; corner: the three
    joints whose passes' disagreement matters; fold: a signed angle is centred on this (180) before the median.
    """
    window = scene.key
    frames = value_of(scene)[window]
    t = scene.t[window]
    ok = np.isfinite(frames)
    share = float(ok.mean()) if len(ok) else 0.0
    problem = problem_of(scene, share, what, where, advice)
    if problem or not ok.any():
        return Evidence(float("nan"), usable=share, line=names(*points), problem=problem)
    value = float(np.median(frames[ok]))
    at = float(t[ok][np.argmin(np.abs(frames[ok] - value) + 1e-3 * np.abs(t[ok] - np.median(t[ok])))])
    wider, squarer = (np.nanmedian(value_of(scene.turned(by))[window]) for by in (VIEW_SD, -VIEW_SD))
    view = float(np.nanmax([abs(wider - value), abs(squarer - value)]))
    a, v, c = corner
    distances = scene.noise(a, v, c)[window]
    passes = angle_sd(distances, length(scene.p(*a), scene.p(*v))[window], length(scene.p(*v), scene.p(*c))[window])
    passes_sd = float(np.nanmedian(passes[ok])) if np.isfinite(passes[ok]).any() else 0.0
    return Evidence(value, spread_of_median(frames, t), view, passes_sd, share, at, names(*points), "", limits)
