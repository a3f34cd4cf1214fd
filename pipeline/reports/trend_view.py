"""One athlete's trends as the page shows them: for each detail the plot, the sentence, the figures behind it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from markupsafe import Markup

from pipeline.reports.change_words import signed
from pipeline.reports.language import Translations, day_words, drawn_in_units, in_units
from pipeline.reports.numbers import plus_minus, quantity, shown_ends
from pipeline.reports.reading_view import column_title, is_further, skill_title
from pipeline.reports.records import ORDER
from pipeline.reports.said import said
from pipeline.reports.trend_plots import PlotNote, trend_plot, value_range
from pipeline.scoring.tolerances import Tolerances
from pipeline.trends.athlete import ENOUGH_SESSIONS, GAP, Trend
from pipeline.trends.setting_drop import LINE, Drop, pair_settings, setting_drop
from pipeline.trends.shrink import Prior
from pipeline.trends.words import amount, drop_sentence, sentence
from pipeline.vocabulary import Setting

WEEKLY_FALSE = "18.4 %"  # of 960 series, measured by `python -m pipeline.bench trends --only weekly`
FIRST = ("shoulder_stand", "hip_angle")  # what coaches look at first


@dataclass(frozen=True)
class NoteView:
    """A coach's note with the letter it has in the plots."""

    letter: str
    day: str
    kind: str
    text: str


@dataclass(frozen=True)
class SeriesView:
    """One setting of one detail."""

    setting: str
    sentence: str
    real: bool
    plot: Markup
    facts: list[tuple[str, str]]  # name, figure with unit
    gist: str  # where it began and where it stands: 149° → 160°, or what it is now
    levels: str  # the same, each with its ±
    limit: str  # up to how much of a change could be chance; nothing where that is not known


@dataclass(frozen=True)
class DetailView:
    """One detail on one side, alone first."""

    anchor: str
    skill: str
    title: str
    series: list[SeriesView]
    drop: str  # alone against routine, where both were filmed
    further: bool = False  # beyond the body lines

    @property
    def real(self) -> bool:
        return any(s.real for s in self.series)


@dataclass(frozen=True)
class TrendView:
    """The page of one athlete's trends."""

    code: str
    cohort: str
    summary: str
    chance: str  # how many of the sentences chance alone could make
    notes: list[NoteView]
    details: list[DetailView]
    figures: pd.DataFrame  # every point drawn, for the CSV beside the page

    @property
    def changes(self) -> list[tuple[str, str, str]]:
        """The sure changes: skill, detail and setting, and the sentence."""
        return [(d.skill, f"{d.title}, {s.setting}", s.sentence) for d in self.details for s in d.series if s.real]


def trend_view(
    tr: Translations, code: str, cohort: str, trends: Sequence[Trend], tolerances: Tolerances, notes: pd.DataFrame,
    drop_scatter: dict[tuple[str, ...], Prior],
) -> TrendView:  # fmt: skip
    """The view; `trends` of one athlete, `notes` of the athlete and the cohort (Store.notes), `drop_scatter` of the club."""
    lettered = [(chr(ord("A") + i) if i < 26 else str(i - 25), row) for i, row in enumerate(notes.itertuples(index=False))]
    marks = [PlotNote(float(np.datetime64(row.date, "D").astype(int)), letter) for letter, row in lettered]
    grouped: dict[tuple[str, str, str], list[Trend]] = defaultdict(list)
    for trend in trends:
        grouped[trend.skill, trend.detail, trend.side].append(trend)
    order = sorted(grouped, key=place)
    period = _period(trends)
    details = [_detail(tr, key, grouped[key], tolerances, marks, period, drop_scatter) for key in order]
    long = [t for t in trends if len(t.sessions) >= ENOUGH_SESSIONS]
    judged = sum(math.isfinite(t.change.mdc) for t in long)
    sessions = len({d for t in trends for d in t.sessions["date"]})
    one_day = tr.gettext("%(cohort)s. One day with readings, %(first)s.")
    summary = (one_day if sessions == 1 else tr.gettext("%(cohort)s. %(days)d days with readings, %(first)s to %(last)s.")) % {
        "cohort": cohort, "days": sessions, "first": day_words(tr, min((t.change.start_date for t in trends), default="")),
        "last": day_words(tr, max((t.change.now_date for t in trends), default="")),
    }  # fmt: skip
    chance = tr.gettext("No series has enough sessions to be judged yet: %d are needed.") % ENOUGH_SESSIONS
    if long:
        chance = tr.gettext("No series can be judged yet: so few sessions do not show what chance does. More of them do, or more athletes.")
    if judged:
        chance = tr.gettext(
            "%(judged)d series have enough sessions to be judged, each so that chance alone calls at most 1 in 20 a change: "
            "expect up to %(false).1f of them to be chance. Reading the page every week makes more: over 12 weeks, chance alone said "
            "“changed” at least once in %(weekly)s of invented series in which nothing changed. What several details bear out is safer."
        ) % {"judged": judged, "false": 0.05 * judged, "weekly": WEEKLY_FALSE}
    views = [NoteView(letter, day_words(tr, row.date), row.kind, f"{row.text} ({row.about})") for letter, row in lettered]
    return TrendView(code, cohort, summary, chance, views, details, figure_table(trends))


def place(key: tuple[str, ...]) -> tuple:
    """Sorts (skill, detail, …): what coaches look at first, then as everywhere."""
    return key[:2] != FIRST, ORDER.get((key[0], key[1]), len(ORDER)), key


def _period(trends: Sequence[Trend]) -> tuple[float, float]:
    first = min((float(t.sessions["day"].iloc[0]) for t in trends), default=0.0)
    last = max((float(t.sessions["day"].iloc[-1]) for t in trends), default=1.0)
    return (first, last) if last > first else (first - 3.0, last + 3.0)


def _detail(
    tr: Translations, key: tuple[str, str, str], trends: Sequence[Trend], tolerances: Tolerances, marks: Sequence[PlotNote],
    period: tuple[float, float], drop_scatter: dict[tuple[str, ...], Prior],
) -> DetailView:  # fmt: skip
    skill, detail, _side = key
    tolerance = tolerances.get((skill, detail))
    ordered = sorted(trends, key=lambda t: t.setting != Setting.ALONE)
    values = value_range(ordered, tolerance)
    series = []
    for trend in ordered:
        where = tr.gettext("in a routine") if trend.setting == Setting.ROUTINE else tr.gettext("alone")
        words = said(tr, sentence(trend, tolerance))
        label = tr.gettext("%(detail)s, %(where)s, session by session. %(said)s") % {
            "detail": column_title(tr, key), "where": where, "said": words,
        }  # fmt: skip
        height = 232.0 if trend.setting == Setting.ALONE or len(ordered) == 1 else 168.0
        plot = drawn_in_units(tr, trend_plot(tr, trend, tolerance, values=values, period=period, notes=marks, label=label, height=height))
        series.append(
            SeriesView(
                where,
                words,
                trend.change.real,
                plot,
                _facts(tr, trend),
                _gist(tr, trend),
                _levels(tr, trend),
                said(tr, amount(trend.change.mdc, trend.unit)) if math.isfinite(trend.change.mdc) else "",
            )
        )
    drop = _drop(tr, ordered, tolerances, drop_scatter) if len(ordered) == 2 else ""
    anchor = "-".join(part for part in key if part)
    return DetailView(anchor, skill_title(skill), column_title(tr, key), series, drop, is_further(skill, key[1]))


def _gist(tr: Translations, trend: Trend) -> str:
    """Short where what could be chance stands beside it; else each level with its ±."""
    if not math.isfinite(trend.change.mdc):
        return _levels(tr, trend)
    return " → ".join(in_units(tr, quantity(value, trend.unit)) for value in (trend.change.start, trend.change.now))


def _levels(tr: Translations, trend: Trend) -> str:
    c = trend.change
    ends = ((c.start, c.start_half, c.start_date), (c.now, c.now_half, c.now_date))
    return " → ".join(in_units(tr, level_words(trend, *end)) for end in ends[-len(trend.sessions) :])


def level_words(trend: Trend, value: float, half: float, day: str) -> str:
    """A level with its ±; where chance is not known yet, with all that the ranges of that day's readings span."""
    low, high = value - half, value + half
    if not math.isfinite(half):
        readings = trend.attempts[trend.attempts["date"] == day]
        low, high = float(readings["low"].min()), float(readings["high"].max())
    low, high = shown_ends(value, low, high, trend.skill, trend.detail)
    return plus_minus(value, low, high, trend.unit) if math.isfinite(low) and math.isfinite(high) else quantity(value, trend.unit)


def _facts(tr: Translations, trend: Trend) -> list[tuple[str, str]]:
    c, unit = trend.change, trend.unit
    known = trend.attempts[trend.attempts["value"].notna()]
    facts = [(tr.gettext("sessions, attempts"), f"{len(trend.sessions)}, {len(known)}")]
    facts.append((tr.gettext("start → now") if len(trend.sessions) > 1 else tr.gettext("now"), _levels(tr, trend)))
    if math.isfinite(trend.slope.low):
        line = trend.slope
        facts.append(
            (tr.gettext("trend a month"), f"{signed(line.per_month, unit)} ({signed(line.low, unit)} … {signed(line.high, unit)})")
        )
    if math.isfinite(c.mdc):
        facts.append((tr.gettext("smallest change that counts"), said(tr, amount(c.mdc, unit))))
    if math.isfinite(trend.mdc):
        facts.append((tr.gettext("between two single attempts"), said(tr, amount(trend.mdc, unit))))
    return facts


def _drop(tr: Translations, trends: Sequence[Trend], tolerances: Tolerances, drop_scatter: dict[tuple[str, ...], Prior]) -> str:
    alone = trends[0]
    pairs = pair_settings(pd.concat([t.sessions for t in trends]).assign(athlete=alone.athlete))
    found: Drop = setting_drop(pairs["drop"].to_numpy(), drop_scatter.get((alone.skill, alone.detail)))
    level = float(alone.sessions["median"].median())
    return said(tr, drop_sentence(found, alone.skill, alone.detail, alone.unit, level, tolerances.get((alone.skill, alone.detail))))


def figure_table(trends: Sequence[Trend]) -> pd.DataFrame:
    """Every point drawn: attempts and session medians with intervals, and the trend line's ends."""
    head = ["skill", "detail", "side", "setting", "what", "date", "value", "low", "high", "attempts", "unit"]
    rows = []
    for t in trends:
        known = t.attempts[t.attempts["value"].notna()]
        points = zip(known["date"], known["value"], known["low"], known["high"], strict=True)
        rows += [(*t.key, "attempt", *point, 1, t.unit) for point in points]
        days = zip(*(t.sessions[c] for c in ("date", "median", "low", "high", "n")), strict=True)
        rows += [(*t.key, "session", day, y, *shown_ends(y, low, high, t.skill, t.detail), n, t.unit) for day, y, low, high, n in days]
        if math.isfinite(t.slope.low):
            line = t.slope
            rows.append((*t.key, "trend a month", "", line.per_month, line.low, line.high, len(t.sessions), t.unit))
        c = t.change
        rows.append((*t.key, "change since the start", c.now_date, c.change, c.low, c.high, len(t.sessions), t.unit))
        rows.append((*t.key, "smallest change that counts", c.now_date, c.mdc, math.nan, math.nan, len(t.sessions), t.unit))
    return pd.DataFrame(rows, columns=head)


def level_pairs(sessions: pd.DataFrame) -> pd.DataFrame:
    """The club's alone and routine pairs, to learn from how much drops scatter."""
    return pair_settings(sessions[[*LINE, "setting", "day", "median"]])


__all__ = ["GAP", "TrendView", "figure_table", "level_pairs", "trend_view"]
