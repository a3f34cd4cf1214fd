"""Cohorts side by side as the page shows them. No athlete can be told from it unless names are asked for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from markupsafe import Markup

from pipeline.reports.change_words import signed
from pipeline.reports.difference_words import detail_words, difference_words, setting_words, unit_of, unsure_words
from pipeline.reports.language import MONTHS, Translations, day_words, drawn_in_units, in_units
from pipeline.reports.numbers import quantity, span
from pipeline.reports.reading_view import column_title, is_further, skill_title
from pipeline.reports.records import ORDER
from pipeline.reports.said import said
from pipeline.reports.trend_plots import CohortDots, cohort_plot, share_bar
from pipeline.scoring.tolerances import Tolerances
from pipeline.trends.cohorts import CELL, ENOUGH_ATHLETES, Comparison
from pipeline.trends.drills import DrillEffect
from pipeline.trends.next_term import NextTerm
from pipeline.vocabulary import Setting

MOST_OTHERS = 3  # details named beside the first for next term


@dataclass(frozen=True)
class CohortRow:
    """One line of the table beside a plot; empty words where nothing can be said."""

    name: str
    athletes: int
    mean: str
    met: str
    met_bar: Markup
    change: str


@dataclass(frozen=True)
class CellView:
    """One detail, side and setting."""

    setting: str
    alone: bool
    plot: Markup
    rows: list[CohortRow]
    said: list[str]
    few: str


@dataclass(frozen=True)
class DetailCells:
    """One detail on one side: alone, then in a routine."""

    anchor: str
    skill: str
    title: str
    cells: list[CellView]
    folded: bool = False  # beyond the body lines, without a difference that is sure
    sure: bool = False  # with one


@dataclass(frozen=True)
class TermView:
    """What one cohort should work on."""

    cohort: str
    first: str
    how_met: str
    others: str
    film: str
    why: str


@dataclass(frozen=True)
class ShareRow:
    """One line of a table of shares."""

    names: list[str]
    share: str
    readings: int
    bar: Markup


@dataclass(frozen=True)
class CohortsView:
    """The page of all cohorts."""

    summary: str
    terms: list[TermView]
    sure: list[str]
    tests: int
    drills: list[tuple[str, str, bool]]  # words, a doubt about them, and whether an effect is sure
    details: list[DetailCells]
    dark: dict[str, list[ShareRow]]
    few: str = ""  # which cohorts are too small


def cohorts_view(
    tr: Translations, compared: Comparison, met: pd.DataFrame, dark: dict[str, pd.DataFrame], terms: Sequence[NextTerm],
    drills: Sequence[DrillEffect], tolerances: Tolerances, *, names: bool = False,
) -> CohortsView:  # fmt: skip
    """met : share met by CELL and cohort; dark : `shares.cannot_tell_tables`. `names` lets an athlete's code show on hovering."""
    dots = compared.dots
    cells = sorted(
        {tuple(r) for r in dots[CELL].itertuples(index=False)}, key=lambda c: (ORDER.get(c[:2], len(ORDER)), c[:3], c[3] != Setting.ALONE)
    )
    details: dict[tuple[str, str, str], list[CellView]] = {}
    for cell in cells:
        details.setdefault(cell[:3], []).append(_cell(tr, cell, compared, met, tolerances, names))
    cohorts = sorted(dots["cohort"].unique())
    summary = tr.gettext("%(cohorts)s: %(athletes)d athletes. Every dot is one of them; nobody is named or ranked.") % {
        "cohorts": ", ".join(cohorts), "athletes": dots["athlete"].nunique(),
    }  # fmt: skip
    sure = [difference_words(tr, row, _levels(compared), tolerances) for row in compared.differences.itertuples() if row.sure]
    differing = {(row.skill, row.detail, row.side) for row in compared.differences.itertuples() if row.sure}
    return CohortsView(
        summary, [_term(tr, t) for t in terms], sure, len(compared.differences), _drills(tr, drills),
        [
            DetailCells("-".join(filter(None, key)), skill_title(key[0]), column_title(tr, key), views, is_further(*key[:2]) and key not in differing, key in differing)
            for key, views in details.items()
        ],
        {name: _shares(tr, name, table) for name, table in dark.items()},
        _few(tr, dots.groupby("cohort")["athlete"].nunique().to_dict()),
    )  # fmt: skip


def _few(tr: Translations, athletes: dict[str, int]) -> str:
    """Which cohorts are too small to be compared in anything; nothing where none is."""
    small = [f"{cohort} ({count})" for cohort, count in sorted(athletes.items()) if count < ENOUGH_ATHLETES]
    words = tr.gettext(
        "Too few athletes to compare: %(cohorts)s. What differs there may be one child's doing; cohorts of %(count)d or more are compared."
    )
    return words % {"cohorts": ", ".join(small), "count": ENOUGH_ATHLETES} if small else ""


def _levels(compared: Comparison) -> dict[tuple[str, ...], float]:
    return {(*(getattr(r, c) for c in CELL), r.cohort): r.mean for r in compared.means.itertuples()}


def _pick(table: pd.DataFrame, cell: tuple[str, ...]) -> pd.DataFrame:
    return table[np.logical_and.reduce([table[c] == v for c, v in zip(CELL, cell, strict=True)])]


def _cell(
    tr: Translations, cell: tuple[str, ...], compared: Comparison, met: pd.DataFrame, tolerances: Tolerances, names: bool
) -> CellView:
    skill, detail, side, setting = cell
    unit, tolerance = unit_of(skill, detail), tolerances.get((skill, detail))
    dots, means, shares = _pick(compared.dots, cell), _pick(compared.means, cell).set_index("cohort"), _pick(met, cell).set_index("cohort")
    drawn, rows, few = [], [], []
    for cohort, one in dots.groupby("cohort", sort=True):
        one = one.sort_values("athlete" if names else "level", kind="stable")  # with names in the order of codes: no ranking
        mean = means.loc[cohort]
        titles = tuple(one["athlete"]) if names else ()
        level, low, high = (one[c].to_numpy(float) for c in ("level", "low", "high"))
        drawn.append(CohortDots(str(cohort), level, low, high, mean["mean"], mean["low"], mean["high"], titles))
        rows.append(_row(tr, str(cohort), mean, shares, unit))
        if not mean["enough"]:
            few.append(str(cohort))
    where = setting_words(tr, setting)
    label = tr.gettext("%(detail)s, %(where)s: athletes of each cohort with 95 %% ranges. %(means)s") % {
        "detail": column_title(tr, (skill, detail, side)), "where": where, "means": "; ".join(f"{r.name} {r.mean}" for r in rows if r.mean),
    }  # fmt: skip
    pairs = list(_pick(compared.differences, cell).itertuples())
    said = [difference_words(tr, row, _levels(compared), tolerances, short=True) for row in pairs if row.sure]
    said += unsure_words(tr, [row for row in pairs if not row.sure], unit)
    too_few = tr.gettext("Too few to compare: %(cohorts)s (fewer than %(count)d athletes).") % {
        "cohorts": ", ".join(few), "count": ENOUGH_ATHLETES,
    }  # fmt: skip
    return CellView(
        where,
        setting == Setting.ALONE,
        drawn_in_units(tr, cohort_plot(drawn, unit, tolerance, label=label)),
        rows,
        said,
        too_few if few else "",
    )


def _row(tr: Translations, cohort: str, mean: pd.Series, shares: pd.DataFrame, unit: str) -> CohortRow:
    shown = in_units(tr, f"{quantity(mean['mean'], unit)} ({span(mean['low'], mean['high'], unit)})") if math.isfinite(mean["low"]) else ""
    change = ""
    if math.isfinite(mean["change_low"]):
        change = f"{signed(mean['change'], unit)} ({signed(mean['change_low'], unit)} … {signed(mean['change_high'], unit)})"
    if cohort not in shares.index:
        return CohortRow(cohort, int(mean["athletes"]), shown, "", Markup(""), change)
    share = shares.loc[cohort]
    enough = bool(mean["enough"]) and share["athletes"] >= ENOUGH_ATHLETES
    words = share_words(share["share"], share["low"], share["high"]) if enough else ""
    bar = share_bar(share["share"], share["low"], share["high"], tr.gettext("met: %s") % words) if enough else Markup("")
    return CohortRow(cohort, int(mean["athletes"]), shown, words, bar, change)


def share_words(share: float, low: float, high: float) -> str:
    """45 % (20–70)."""
    if not math.isfinite(share):
        return ""
    ends = f" ({100 * low:.0f}–{100 * high:.0f})" if math.isfinite(low) else ""
    return f"{100 * share:.0f} %{ends}"


def _term(tr: Translations, term: NextTerm) -> TermView:
    def listed(pairs: Sequence[tuple[str, str]]) -> str:
        words = [detail_words(tr, *p) for p in pairs[:MOST_OTHERS]]
        more = len(pairs) - MOST_OTHERS
        return "; ".join(words) + (tr.gettext("; and %d more") % more if more > 0 else "")

    first = detail_words(tr, *term.first) if term.first else ""
    return TermView(
        term.cohort, first, share_words(term.share_met, term.low, term.high) if term.first else "", listed(term.or_else),
        listed([p for p in term.film_better if not is_further(*p)]),  # of the others one phone seldom tells more, however well it films
        said(tr, term.why),
    )  # fmt: skip


def _drills(tr: Translations, drills: Sequence[DrillEffect]) -> list[tuple[str, str, bool]]:
    """The sure effects, then each drill that has none: a coach who noted one is not left without a word."""
    out = []
    for effect in drills:
        if not effect.sure:
            continue
        unit = unit_of(effect.skill, effect.detail)
        words = tr.gettext(
            "%(drill)s, %(cohort)s since %(since)s: %(detail)s, %(setting)s, changed by %(change)s, in the other cohorts over the same "
            "weeks by %(others)s. That is %(more)s more (%(low)s … %(high)s)."
        ) % {
            "drill": effect.drill, "cohort": effect.cohort, "since": day_words(tr, effect.since),
            "detail": detail_words(tr, effect.skill, effect.detail, effect.side), "setting": setting_words(tr, effect.setting),
            "change": signed(effect.change, unit), "others": signed(effect.others, unit), "more": signed(effect.more, unit),
            "low": signed(effect.low, unit), "high": signed(effect.high, unit),
        }  # fmt: skip
        out.append((words, said(tr, effect.why), True))
    told = {(e.drill, e.cohort, e.since) for e in drills if e.sure}
    for drill, cohort, since in dict.fromkeys((e.drill, e.cohort, e.since) for e in drills):
        if (drill, cohort, since) in told:
            continue
        compared = any(math.isfinite(e.more) for e in drills if (e.drill, e.cohort, e.since) == (drill, cohort, since))
        nothing = tr.gettext("%(drill)s, %(cohort)s since %(since)s: nothing we can be sure of changed more than in the other cohorts.")
        few = tr.gettext("%(drill)s, %(cohort)s since %(since)s: too few athletes with sessions before and after to compare.")
        out.append(((nothing if compared else few) % {"drill": drill, "cohort": cohort, "since": day_words(tr, since)}, "", False))
    return out


def _shares(tr: Translations, name: str, table: pd.DataFrame) -> list[ShareRow]:
    rows = []
    for row in table.itertuples(index=False):
        if name == "skill":
            names = [
                tr.gettext(skill_title(row.skill)),
                tr.gettext("front") if row.view == "front" else tr.gettext("side"),
            ]
        elif name == "month":
            names = [f"{tr.gettext(MONTHS[int(row.month[5:7]) - 1])} {row.month[:4]}"]
        else:
            names = [row.cohort]
        words = share_words(row.share, row.low, row.high)
        rows.append(ShareRow(names, words, int(row.readings), share_bar(row.share, row.low, row.high, words)))
    return rows
