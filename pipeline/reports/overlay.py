"""The measured line over a picture, as inline SVG that takes the page's colours."""

from __future__ import annotations

import numpy as np
from markupsafe import Markup, escape

from pipeline.geometry import joint_angle


def overlay(
    points: tuple[tuple[float, float], ...], width: int, height: int, verdict: str, value_words: str, *, chord: bool, angle: bool = True
) -> Markup:  # fmt: skip
    """The measured line in picture pixels; three points get their angle's arc where the value is an `angle`, `chord` a dashed line from end
    to end."""
    if len(points) < 2:
        return Markup("")
    unit = max(width, height) / 960
    path = "M" + "L".join(f"{px:g} {py:g}" for px, py in points)
    body = []
    if chord:
        (ax, ay), (bx, by) = points[0], points[-1]
        body.append(
            f'<path d="M{ax:g} {ay:g}L{bx:g} {by:g}" class="chord" stroke-width="{3 * unit:.1f}" stroke-dasharray="{12 * unit:.1f} {9 * unit:.1f}"/>'
        )
    body.append(
        f'<path d="{path}" class="halo" stroke-width="{11 * unit:.1f}"/><path d="{path}" class="bone v-{verdict}" stroke-width="{6 * unit:.1f}"/>'
    )
    if len(points) == 3 and angle:
        body.append(_arc(points, 46 * unit, 4 * unit, verdict))
    body += [
        f'<circle cx="{px:g}" cy="{py:g}" r="{8 * unit:.1f}" class="joint v-{verdict}" stroke-width="{3 * unit:.1f}"/>' for px, py in points
    ]
    tx, ty = _beside(points, width, height, unit)
    body.append(
        f'<text x="{tx:.0f}" y="{ty:.0f}" text-anchor="middle" font-size="{34 * unit:.0f}" stroke-width="{7 * unit:.1f}" class="said">'
        f"{escape(value_words)}</text>"
    )
    return Markup(
        f'<svg class="over" viewBox="0 0 {width} {height}" preserveAspectRatio="xMinYMid" aria-hidden="true">{"".join(body)}</svg>'
    )


def drawn_straighter(points: tuple[tuple[float, float], ...], high: float) -> float | None:
    """The degrees that a drawn knee of three points shows, where they are more than its 95 % interval reaches up to: it bends towards the phone
    or away from it."""
    if len(points) != 3:
        return None
    drawn = float(joint_angle(*(np.array(p, float) for p in points)))
    return drawn if drawn > high else None


def _arc(points: tuple[tuple[float, float], ...], radius: float, stroke: float, verdict: str) -> str:
    a, vertex, c = (np.array(p) for p in points)
    u, v = a - vertex, c - vertex
    lengths = np.linalg.norm(u), np.linalg.norm(v)
    if min(lengths) < 1e-6:
        return ""
    radius = min(radius, 0.6 * float(min(lengths)))
    start, end = vertex + radius * u / lengths[0], vertex + radius * v / lengths[1]
    sweep = 1 if u[0] * v[1] - u[1] * v[0] > 0 else 0
    return (
        f'<path d="M{start[0]:.1f} {start[1]:.1f}A{radius:.1f} {radius:.1f} 0 0 {sweep} {end[0]:.1f} {end[1]:.1f}" '
        f'class="arc v-{verdict}" stroke-width="{stroke:.1f}"/>'
    )


def _beside(points: tuple[tuple[float, float], ...], width: int, height: int, unit: float) -> tuple[float, float]:
    """Middle and baseline of the written value: off the line's middle, away from its bend, inside the picture."""
    middle = len(points) // 2 if len(points) > 2 else 0
    here = np.array(points[middle])
    before, after = np.array(points[max(middle - 1, 0)]), np.array(points[min(middle + 1, len(points) - 1)])
    if len(points) == 2:
        here = (before + after) / 2
    along = after - before
    across = np.array([-along[1], along[0]]) / max(float(np.linalg.norm(along)), 1e-6)
    bend = before + after - 2 * here
    away = -1.0 if float(bend @ across) > 0 else 1.0
    x, y = here + away * 78 * unit * across
    return float(np.clip(x, 60 * unit, width - 60 * unit)), float(np.clip(y + 12 * unit, 40 * unit, height - 14 * unit))
