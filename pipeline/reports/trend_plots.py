"""Drawings for trends and cohorts: an athlete's sessions over time, cohorts as dots side by side. Inline SVG, as in `plots`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from markupsafe import Markup, escape

from pipeline.reports.language import MONTHS, Translations
from pipeline.reports.numbers import number, quantity
from pipeline.reports.plots import Scale, ticks
from pipeline.scoring.tolerances import Tolerance
from pipeline.trends.athlete import Trend
from pipeline.trends.slope import MONTH
from pipeline.vocabulary import CHORD, DEGREES, LEG, SECONDS, SHANK

WIDTH, LEFT, RIGHT = 640.0, 46.0, 12.0
MOST_LANES = 16  # athletes of one cohort stacked above each other before lanes are used again


@dataclass(frozen=True)
class PlotNote:
    """A coach's note in a plot: its day and the letter it goes by."""

    day: float
    letter: str


def svg(width: float, height: float, name: str, body: Sequence[str], label: str) -> Markup:
    return Markup(f'<svg class="{name}" viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{escape(label)}">{"".join(body)}</svg>')


def text(x: float, y: float, words: str, name: str = "tick", anchor: str = "middle") -> str:
    return f'<text x="{x:g}" y="{y:g}" class="{name}" text-anchor="{anchor}">{escape(words)}</text>'


def days(low: float, high: float, tr: Translations) -> list[tuple[float, str]]:
    """Where to write dates between two days since 1970: Mondays where the span is short, else firsts of months."""
    first, last = (date.fromordinal(math.floor(d) + date(1970, 1, 1).toordinal()) for d in (low, high))
    zero = date(1970, 1, 1).toordinal()
    if high - low <= 49:
        step = 7 if high - low > 14 else max(1, math.ceil((high - low) / 4))
        marks = (
            [first.toordinal() + (-first.weekday()) % 7 + step * i for i in range(60)]
            if step == 7
            else [first.toordinal() + step * i for i in range(60)]
        )
        return [(float(m - zero), f"{date.fromordinal(m).day} {_month(tr, date.fromordinal(m))}") for m in marks if m <= last.toordinal()]
    months = [
        date(first.year + (first.month - 1 + i) // 12, (first.month - 1 + i) % 12 + 1, 1)
        for i in range(1, 1 + (last.year - first.year) * 12 + 12)
    ]
    months = [m for m in months if first <= m <= last]
    every = next(k for k in (1, 2, 3, 6, 12, 24, 60) if len(months) / k <= 9)
    shown = [m for m in months if (m.year * 12 + m.month - 1) % every == 0] or months[:1]
    return [(float(m.toordinal() - zero), _month(tr, m) + (f" {m.year}" if m.month == 1 else "")) for m in shown]


def _month(tr: Translations, day: date) -> str:
    return tr.gettext(MONTHS[day.month - 1])[:3]


def value_range(trends: Sequence[Trend], tolerance: Tolerance | None) -> tuple[float, float]:
    """One range of values for all settings of a detail: what was measured, its intervals but for stray ends, and the target."""
    shown: list[float] = []
    for trend in trends:
        known = trend.attempts[trend.attempts["value"].notna()]
        shown += [*np.percentile(known["low"], [5]), *np.percentile(known["high"], [95]), known["value"].min(), known["value"].max()]
        shown += [*trend.sessions["median"]]
    if tolerance is not None:
        shown += [tolerance.target] + [e for e in tolerance.met if math.isfinite(e)]
    low, high = min(shown), max(shown)
    pad = 0.05 * (high - low) or 1.0
    at_zero = low >= 0 and (tolerance is not None and tolerance.target == 0)
    return (0.0 if at_zero else low - pad), high + pad


def trend_plot(
    tr: Translations, trend: Trend, tolerance: Tolerance | None, *, values: tuple[float, float], period: tuple[float, float],
    notes: Sequence[PlotNote] = (), label: str, height: float = 232.0,
) -> Markup:  # fmt: skip
    """Attempts with their intervals (thin), session medians joined where no gap lies between them, the trend with its interval.

    values, period : the ranges drawn, in the detail's unit and in days since 1970, shared by plots that belong together.
    """
    top, bottom = 18.0, 28.0
    x, y = Scale(*period, LEFT + 8, WIDTH - RIGHT - 8), Scale(*values, height - bottom, top)
    body = [*_zones(y, tolerance), *_frame(tr, x, y, trend.unit, height - bottom)]
    body += _trend_line(x, y, trend)
    body += _attempts(x, y, trend.attempts)
    body += _sessions(x, y, trend.sessions)
    for note in notes:
        if period[0] <= note.day <= period[1]:
            body.append(f'<path d="M{x(note.day):g} {top:g}V{height - bottom:g}" class="moment"/>')
            body.append(text(x(note.day), top - 5, note.letter, "letter"))
    return svg(WIDTH, height, "curve trend", body, label)


def _zones(y: Scale, tolerance: Tolerance | None) -> list[str]:
    body = []
    if tolerance is not None:
        for band, name in ((tolerance.close, "close"), (tolerance.met, "met")):
            up, down = y(min(band[1], y.high)), y(max(band[0], y.low))
            if down > up:
                body.append(
                    f'<rect x="{LEFT:g}" y="{up:g}" width="{WIDTH - LEFT - RIGHT:g}" height="{down - up:.1f}" class="zone {name}"/>'
                )
    return body


def _frame(tr: Translations, x: Scale, y: Scale, unit: str, floor: float) -> list[str]:
    body = []
    for tick in ticks(y.low, y.high, 5):
        body.append(f'<path d="M{LEFT:g} {y(tick):g}H{WIDTH - RIGHT:g}" class="grid"/>')
        body.append(text(LEFT - 6, y(tick) + 4, value_words(tick, unit), anchor="end"))
    for day, words in days(x.low, x.high, tr):
        body.append(f'<path d="M{x(day):g} {floor:g}v4" class="edge"/>')
        body.append(text(x(day), floor + 18, words))
    return body


def value_words(value: float, unit: str) -> str:
    """A tick's number: degrees and shares with their sign, seconds with two places."""
    return quantity(value, unit) if unit in (DEGREES, CHORD, SHANK, LEG) else number(value, 2 if unit == SECONDS else 0)


def _attempts(x: Scale, y: Scale, attempts: pd.DataFrame) -> list[str]:
    known = attempts[attempts["value"].notna() & attempts["day"].notna()]
    place = {day: f"{x(day):g}" for day in known["day"].unique().tolist()}
    bars = "".join(f"M{place[d]} {y(low):g}V{y(high):g}" for d, low, high in zip(known["day"], known["low"], known["high"], strict=True))
    dots = "".join(f'<circle cx="{place[d]}" cy="{y(v):g}" r="2"/>' for d, v in zip(known["day"], known["value"], strict=True))
    return [f'<g class="attempts"><path d="{bars}"/>{dots}</g>']


def _sessions(x: Scale, y: Scale, sessions: pd.DataFrame) -> list[str]:
    body = []
    for _, run in sessions.groupby("segment", sort=True):
        if len(run) > 1:
            body.append(
                f'<path d="M{"L".join(f"{x(d):g} {y(v):g}" for d, v in zip(run["day"], run["median"], strict=True))}" class="joined"/>'
            )
    body += [
        f'<circle cx="{x(d):g}" cy="{y(v):g}" r="4.5" class="session"/>' for d, v in zip(sessions["day"], sessions["median"], strict=True)
    ]
    return body


def _trend_line(x: Scale, y: Scale, trend: Trend) -> list[str]:
    line, table = trend.slope, trend.sessions
    if not math.isfinite(line.low):
        return []
    first, last = float(table["day"].iloc[0]), float(table["day"].iloc[-1])
    days_shown = np.linspace(first, last, 9)
    height = [y(line.middle + line.per_month / MONTH * (d - line.at)) for d in (first, last)]
    ends = [[line.middle + s / MONTH * (d - line.at) for s in (line.low, line.high)] for d in days_shown]
    upper = [f"{x(d):g} {y(max(e)):g}" for d, e in zip(days_shown, ends, strict=True)]
    lower = [f"{x(d):g} {y(min(e)):g}" for d, e in zip(days_shown, ends, strict=True)]
    name = "slope real" if trend.change.real else "slope"
    return [
        f'<path d="M{"L".join(upper)}L{"L".join(reversed(lower))}z" class="doubt"/>',
        f'<path d="M{x(first):g} {height[0]:g}L{x(last):g} {height[1]:g}" class="{name}"/>',
    ]


# ------------------------------------------------------------------ cohorts


@dataclass(frozen=True)
class CohortDots:
    """One cohort in a plot: (n,) arrays of its athletes in order of level, and its mean with interval (NaN: not compared)."""

    name: str
    level: np.ndarray
    low: np.ndarray
    high: np.ndarray
    mean: float
    mean_low: float
    mean_high: float
    titles: tuple[str, ...] = ()  # shown on hovering; empty unless names were asked for


def cohort_plot(cohorts: Sequence[CohortDots], unit: str, tolerance: Tolerance | None, *, label: str) -> Markup:
    """Every athlete a dot with its 95 % interval, cohort under cohort on one scale; the mean as a bar beneath its dots."""
    lane = 9.0
    lanes = [min(max(len(c.level), 1), MOST_LANES) for c in cohorts]
    tops, at = [], 8.0
    for count in lanes:
        tops.append(at)
        at += 24 + lane * count + 16
    floor = at + 2
    x = Scale(*_dot_range(cohorts, tolerance), 14.0, WIDTH - 14.0)
    body = []
    if tolerance is not None:
        for band, name in ((tolerance.close, "close"), (tolerance.met, "met")):
            left, right = x(max(band[0], x.low)), x(min(band[1], x.high))
            if right > left:
                body.append(f'<rect x="{left:g}" y="4" width="{right - left:.1f}" height="{floor - 4:g}" class="zone {name}"/>')
    for tick in ticks(x.low, x.high, 7):
        body.append(f'<path d="M{x(tick):g} 4V{floor:g}" class="grid"/>')
        body.append(text(x(tick), floor + 15, value_words(tick, unit)))
    for cohort, top, count in zip(cohorts, tops, lanes, strict=True):
        body += _one_cohort(cohort, x, top, count, lane)
    return svg(WIDTH, floor + 22, "curve dots", body, label)


def _dot_range(cohorts: Sequence[CohortDots], tolerance: Tolerance | None) -> tuple[float, float]:
    shown = [float(v) for c in cohorts for v in c.level]
    for c in cohorts:
        ends = np.concatenate([c.low, c.high])
        if np.isfinite(ends).any():
            shown += [float(v) for v in np.nanpercentile(ends, [4, 96])]
    if tolerance is not None:
        shown += [tolerance.target] + [e for e in tolerance.met if math.isfinite(e)]
    low, high = min(shown), max(shown)
    pad = 0.04 * (high - low) or 1.0
    return (0.0 if low >= 0 and tolerance is not None and tolerance.target == 0 else low - pad), high + pad


def _one_cohort(cohort: CohortDots, x: Scale, top: float, lanes: int, lane: float) -> list[str]:
    body = [text(14.0, top + 13, cohort.name, "cohort-name", "start")]
    first = top + 25
    for i, (level, low, high) in enumerate(zip(cohort.level, cohort.low, cohort.high, strict=True)):
        at = first + lane * (i % lanes)
        if math.isfinite(low):
            body.append(f'<path d="M{x(low):g} {at:g}H{x(high):g}" class="reach"/>')
        title = f"<title>{escape(cohort.titles[i])}</title>" if cohort.titles else ""
        body.append(f'<circle cx="{x(level):g}" cy="{at:g}" r="3.6" class="athlete">{title}</circle>')
    if math.isfinite(cohort.mean_low):
        at = first + lane * lanes + 2
        body.append(f'<path d="M{x(cohort.mean_low):g} {at:g}H{x(cohort.mean_high):g}" class="mean"/>')
        body.append(f'<path d="M{x(cohort.mean):g} {at - 6:g}l6 6l-6 6l-6 -6z" class="middle"/>')
    return body


def share_bar(share: float, low: float, high: float, label: str) -> Markup:
    """A share with its interval as a small bar for a table."""
    x = Scale(0.0, 1.0, 1.0, 119.0)
    body = ['<rect x="1" y="5" width="118" height="6" class="rail"/>']
    if math.isfinite(share):
        body.append(f'<rect x="1" y="5" width="{max(x(share) - 1, 0):g}" height="6" class="filled"/>')
    if math.isfinite(low):
        body.append(f'<path d="M{x(low):g} 8H{x(high):g}M{x(low):g} 4v8M{x(high):g} 4v8" class="interval"/>')
    return svg(120, 16, "share", body, label)
