"""What differs between two cohorts, and how sure that is, in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.reports.change_words import signed
from pipeline.reports.language import Translations
from pipeline.reports.reading_view import column_title, skill_title
from pipeline.reports.said import said
from pipeline.scoring.tolerances import Tolerances
from pipeline.trends.cohorts import CELL
from pipeline.trends.words import NEARER, amount, distance
from pipeline.vocabulary import Setting, known_detail


def unit_of(skill: str, detail: str) -> str:
    """The detail's unit; nothing for one this version does not know."""
    known = known_detail(skill, detail)
    return known.unit if known else ""


def detail_words(tr: Translations, skill: str, detail: str, side: str = "") -> str:
    """Shoulder stand, Flat hips."""
    return f"{tr.gettext(skill_title(skill))}, {column_title(tr, (skill, detail, side))}"


def setting_words(tr: Translations, setting: str) -> str:
    """alone, or in a routine."""
    return tr.gettext("in a routine") if setting == Setting.ROUTINE else tr.gettext("alone")


def difference_words(
    tr: Translations, row: Any, levels: Mapping[tuple[str, ...], float], tolerances: Tolerances, *, short: bool = False
) -> str:
    """One sure difference in words, nearer to the target first; `short` where the detail is in the heading already.

    levels : the mean of every cell and cohort.
    """
    cell = tuple(getattr(row, c) for c in CELL)
    skill, detail, side, setting = cell
    a, b, value = row.cohort, row.other, row.difference
    ends = sorted((abs(row.low), abs(row.high)))
    far = [distance(levels[(*cell, c)], tolerances.get((skill, detail))) for c in (a, b)]
    word = NEARER.get((skill, detail), ("", ""))[0]
    if word and far[0] != far[1] and all(map(math.isfinite, far)):
        if far[0] > far[1]:
            a, b = b, a
    else:
        word = tr.gettext("higher")
        if value < 0:
            a, b = b, a
    unit = unit_of(skill, detail)
    head = "" if short else f"{detail_words(tr, skill, detail, side)}, {setting_words(tr, setting)}: "
    return head + tr.gettext("%(a)s %(word)s than %(b)s by %(size)s (%(low)s to %(high)s); that is %(effect).1f times the usual spread between athletes.") % {
        "a": a, "b": b, "word": tr.gettext(word), "size": said(tr, amount(value, unit)), "low": bare(ends[0], unit), "high": bare(ends[1], unit),
        "effect": abs(row.effect),
    }  # fmt: skip


def unsure_words(tr: Translations, rows: Sequence[Any], unit: str) -> list[str]:
    """The comparisons of one cell that are not sure: whose range leaves 0 out by itself, and those that say nothing, a line each."""
    out = []
    for words, some in (
        (
            tr.gettext("By itself a difference, but among so many comparisons it may be chance: %s."),
            [r for r in rows if r.low * r.high > 0],
        ),
        (tr.gettext("No difference we can be sure of: %s."), [r for r in rows if not r.low * r.high > 0]),
    ):
        pairs = [f"{r.cohort} – {r.other} {signed(r.difference, unit)} ({signed(r.low, unit)} … {signed(r.high, unit)})" for r in some]
        out += [words % "; ".join(pairs)] if pairs else []
    return out


def bare(value: float, unit: str) -> str:
    """An amount without the words of its unit: 11°, 4."""
    return amount(value, unit).split(" ")[0]
