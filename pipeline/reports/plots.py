"""Small drawings for the pages: the curve of an attempt, the ribbon of a reading.

Inline SVG written here rather than by a plotting library: it takes the page's own colours (light, dark, print), stays a few
kilobytes, and ten thousand of them take seconds. Everything that comes from outside is a number by the time it is drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from pipeline.reports.numbers import UNIT, number, quantity
from pipeline.scoring.tolerances import Kind, Tolerance
from pipeline.vocabulary import ARMS_PER_S, DEGREES, SECONDS

A_HAIR = 1e-7  # what computing may be off; a tick that lies outside by no more is one
MOST_POINTS = 200  # of one curve; more cannot be seen at this size


@dataclass(frozen=True)
class Scale:
    """Values to places along one axis."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)

    def tenths(self, values: np.ndarray) -> np.ndarray:
        """(n,) places in whole tenths; the lowest place where a value is missing."""
        inside = np.minimum(np.maximum(np.where(np.isnan(values), self.low, values), self.low), self.high)
        return np.rint(10 * (self.start + (inside - self.low) * ((self.end - self.start) / (self.high - self.low)))).astype(int)


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round numbers from low to high: steps of 1, 2 or 5 times a power of ten, or of 15, 30, 45 where angles are meant."""
    rough = (high - low) / max(about, 1)
    power = 10 ** math.floor(math.log10(rough))
    step = next(power * k for k in (1, 2, 5, 10) if power * k >= rough * 0.999)
    first, last = math.ceil((low - A_HAIR) / step), math.floor((high + A_HAIR) / step)
    return [round(i * step, 10) for i in range(first, last + 1)]


def _svg(width: float, height: float, name: str, body: list[str], label: str, data: str = "") -> Markup:
    return Markup(
        f'<svg class="{name}"{data} viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{escape(label)}">{"".join(body)}</svg>'
    )


def _text(x: float, y: float, words: str, name: str, anchor: str = "middle") -> str:
    return f'<text x="{x:g}" y="{y:g}" class="{name}" text-anchor="{anchor}">{escape(words)}</text>'


# ------------------------------------------------------------------ the ribbon of one reading


def ribbon(
    value: float, low: float, high: float, unit: str, tolerance: Tolerance, verdict: str, words: dict[str, str], label: str
) -> Markup:
    """The reading's interval laid over the bands of its tolerance. `words`: what to write for met, close and not yet."""
    width, height, edge = 320.0, 58.0, 8.0
    domain = _ribbon_domain(tolerance, low, high)
    x = Scale(*domain, edge, width - edge)
    met, close = tolerance.met, tolerance.close
    body = [f'<rect x="{edge:g}" y="12" width="{width - 2 * edge:g}" height="22" class="zone not-yet"/>']
    for (a, b), name in ((close, "close"), (met, "met")):
        left, right = x(max(a, domain[0])), x(min(b, domain[1]))
        body.append(f'<rect x="{left:g}" y="12" width="{max(right - left, 1):.1f}" height="22" class="zone {name}"/>')
    body += _ribbon_labels(x, domain, tolerance, unit, words)
    left, right, at = x(low), x(high), x(value)
    right = max(right, left + 2)
    body.append(f'<path d="M{left:g} 17v12M{left:g} 23H{right:g}M{right:g} 17v12" class="interval"/>')
    body.append(f'<circle cx="{at:g}" cy="23" r="6" class="value v-{verdict}"/>')
    return _svg(width, height, "ribbon", body, label)


def _ribbon_domain(tolerance: Tolerance, low: float, high: float) -> tuple[float, float]:
    reach = max(tolerance.close_within, tolerance.met_within, 1e-6)
    down = tolerance.target - reach * (0.35 if tolerance.kind is Kind.AT_MOST else 1.7)
    up = tolerance.target + reach * (0.35 if tolerance.kind is Kind.AT_LEAST else 1.7)
    if tolerance.kind is Kind.AT_MOST and tolerance.target == 0:
        down = 0.0
    pad = 0.04 * (up - down)
    return min(down, low - pad if low < down else down), max(up, high + pad if high > up else up)


def _ribbon_labels(x: Scale, domain: tuple[float, float], tolerance: Tolerance, unit: str, words: dict[str, str]) -> list[str]:
    body: list[str] = []
    taken: list[float] = []
    edges = {e for e in (*tolerance.met, *tolerance.close) if math.isfinite(e) and domain[0] <= e <= domain[1]}
    for edge in sorted(edges):
        at = x(edge)
        body.append(f'<path d="M{at:g} 12v26" class="edge"/>')
        if all(abs(at - other) > 30 for other in taken):
            body.append(_text(at, 50, quantity(edge, unit), "tick"))
            taken.append(at)
    zones = [(max(tolerance.met[0], domain[0]), min(tolerance.met[1], domain[1]), words["met"])]
    for a, b, word in (*zones, *_outer_zones(domain, tolerance, words)):
        if x(b) - x(a) > 6.2 * len(word):
            body.append(_text((x(a) + x(b)) / 2, 9, word, "tick"))
    return body


def _outer_zones(domain: tuple[float, float], tolerance: Tolerance, words: dict[str, str]) -> list[tuple[float, float, str]]:
    out = []
    if tolerance.kind is not Kind.AT_MOST:
        out += [(tolerance.close[0], tolerance.met[0], words["close"]), (domain[0], tolerance.close[0], words["not yet"])]
    if tolerance.kind is not Kind.AT_LEAST:
        out += [(tolerance.met[1], tolerance.close[1], words["close"]), (tolerance.close[1], domain[1], words["not yet"])]
    return [zone for zone in out if zone[1] > zone[0]]


# ------------------------------------------------------------------ the curve of one attempt


@dataclass(frozen=True)
class CurveData:
    """(n,) arrays: seconds, value and interval of each frame; NaN is a gap."""

    t: np.ndarray
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray


def curve_plot(
    curve: CurveData, unit: str, tolerance: Tolerance | None, *, window: tuple[float, float], window_words: str,
    at_s: float, value: float, verdict: str, seconds_words: str, label: str, beside: CurveData | None = None,
) -> Markup:  # fmt: skip
    """The detail at every frame of the attempt: tolerance bands, key window, each frame's interval, and the moment read.

    beside : another attempt's curve in this one's seconds, drawn as a thin line as far as this one reaches.
    """
    width, height, left, right, top, bottom = 640.0, 216.0, 46.0, 10.0, 20.0, 30.0
    t, values, low, high = _thinned(curve)
    x = Scale(float(t[0]), float(t[-1]), left, width - right)
    other = _within(beside, x) if beside is not None else (np.empty(0), np.empty(0))
    y = Scale(*_value_domain(np.concatenate([values, other[1]]), unit, tolerance, value), height - bottom, top)
    body = []
    if tolerance is not None:
        for band, name in ((tolerance.close, "close"), (tolerance.met, "met")):
            up, down = y(min(band[1], y.high)), y(max(band[0], y.low))
            body.append(
                f'<rect x="{left:g}" y="{up:g}" width="{width - left - right:g}" height="{max(down - up, 0):.1f}" class="zone {name}"/>'
            )
    a, b = max(x(window[0]), left), min(x(window[1]), width - right)
    if b - a >= 6:  # the arms' speed is drawn over the lift alone
        body.append(f'<rect x="{a:g}" y="{top:g}" width="{max(b - a, 1):.1f}" height="{height - top - bottom:g}" class="window"/>')
        body.append(_text(min(max((a + b) / 2, left + 40), width - right - 40), top - 7, window_words, "tick"))
    body += _axes(x, y, unit, width, height, left, right, bottom, seconds_words)
    if np.isfinite(other[1]).any():
        empty = np.full(len(other[0]), np.nan)
        body += ['<g class="beside">', *_lines(other[0], other[1], empty, empty, x, y), "</g>"]
    body += _lines(t, values, low, high, x, y)
    if math.isfinite(at_s):
        at = x(at_s)
        body.append(f'<path d="M{at:g} {top:g}V{height - bottom:g}" class="moment"/>')
        if math.isfinite(value):
            body.append(f'<circle cx="{at:g}" cy="{y(value):g}" r="5" class="value v-{verdict}"/>')
    # for the page's player: which seconds lie between which places
    data = f' data-t0="{x.low:.3f}" data-t1="{x.high:.3f}" data-x0="{x.start / width:.4f}" data-x1="{x.end / width:.4f}"'
    return _svg(width, height, "curve", body, label, data)


def _thinned(curve: CurveData) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    if len(curve.t) <= MOST_POINTS:
        return curve.t, curve.value, curve.low, curve.high
    keep = np.unique(np.linspace(0, len(curve.t) - 1, min(len(curve.t), MOST_POINTS)).round().astype(int))
    return tuple(np.asarray(a, dtype=float)[keep] for a in (curve.t, curve.value, curve.low, curve.high))  # type: ignore[return-value]


def _within(curve: CurveData, x: Scale) -> tuple[np.ndarray, np.ndarray]:
    """Seconds and values of a curve where the axis shows them."""
    t, values, _low, _high = _thinned(curve)
    inside = (t >= x.low) & (t <= x.high)
    return t[inside], values[inside]


def _value_domain(values: np.ndarray, unit: str, tolerance: Tolerance | None, value: float) -> tuple[float, float]:
    shown = [v for v in (np.nanmin(values), np.nanmax(values), value) if math.isfinite(v)] if np.isfinite(values).any() else [0.0, 1.0]
    if tolerance is not None:
        shown += [e for e in (*tolerance.close, tolerance.target) if math.isfinite(e)]
    low, high = min(shown), max(shown)
    pad = 0.06 * (high - low) or 1.0
    if unit == DEGREES and low >= 0:
        return max(0.0, low - pad), high + pad
    return low - pad, high + pad


def _axes(x: Scale, y: Scale, unit: str, width: float, height: float, left: float, right: float, bottom: float, seconds: str) -> list[str]:
    body = []
    for tick in ticks(y.low, y.high, 4):
        at = y(tick)
        body.append(f'<path d="M{left:g} {at:g}H{width - right:g}" class="grid"/>')
        plain = unit in (SECONDS, ARMS_PER_S)  # the unit stands once, or is known
        body.append(_text(left - 6, at + 4, number(tick, 1) if plain else quantity(tick, unit), "tick", "end"))
    if unit == ARMS_PER_S:
        body.append(_text(left, 13, UNIT[unit].strip(), "tick", "start"))
    steps = ticks(x.low, x.high, 6)
    for tick in steps:
        body.append(_text(x(tick), height - bottom + 17, f"{tick:g}" + (f" {seconds}" if tick == steps[-1] else ""), "tick"))
    return body


def _lines(t: np.ndarray, values: np.ndarray, low: np.ndarray, high: np.ndarray, x: Scale, y: Scale) -> list[str]:
    """One line and one ribbon for each stretch without a gap; a lone frame is a dot. Drawn in tenths, so in whole numbers."""
    xs, ys, lows, highs = x.tenths(t), y.tenths(values), y.tenths(low), y.tenths(high)
    areas, lines, dots = [], [], []
    known = np.isfinite(values)
    ranged = np.isfinite(low) & np.isfinite(high)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(int)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        run = slice(start, stop)
        if stop - start == 1:
            dots.append(f'<circle cx="{xs[start]}" cy="{ys[start]}" r="15" class="dot"/>')
            continue
        lines.append(_path(xs[run], ys[run]))
        if ranged[run].all():
            areas.append(_path(np.concatenate([xs[run], xs[run][::-1]]), np.concatenate([highs[run], lows[run][::-1]])) + "z")
    body = [f'<path d="{"".join(areas)}" class="doubt"/>'] if areas else []
    body += [f'<path d="{"".join(lines)}" class="line"/>'] if lines else []
    return ['<g transform="scale(.1)">', *body, *dots, "</g>"]


def _path(xs: np.ndarray, ys: np.ndarray) -> str:
    """Straight pieces from point to point, as steps from one to the next."""
    steps = np.diff(np.stack([xs, ys]), axis=1).T.ravel().tolist()
    return f"M{xs[0]} {ys[0]}l" + " ".join(map(str, steps))
