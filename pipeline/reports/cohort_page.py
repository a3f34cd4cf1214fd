"""Writes the page of cohorts side by side and, beside it, the CSV of everything drawn."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd

from pipeline.errors import MatsideError
from pipeline.reports.cohort_view import cohorts_view
from pipeline.reports.files import write_changed
from pipeline.reports.language import Translations, translations
from pipeline.reports.numbers import shown_ends
from pipeline.reports.trend_page import csv_text, page_environment
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store
from pipeline.trends.cohorts import CELL, Comparison, compare_judged, without_names
from pipeline.trends.drills import drill_effects
from pipeline.trends.filters import Filters, latest
from pipeline.trends.next_term import next_term
from pipeline.trends.notes import drill_starts
from pipeline.trends.precision import learn
from pipeline.trends.sessions import sessions
from pipeline.trends.shares import cannot_tell_tables, count_verdicts, share_table, with_verdicts
from pipeline.vocabulary import Verdict

WEEKS = 13  # one term, unless a period is asked for
FOLDER = "cohorts"


def write_cohorts(
    store: Store, tolerances: Tolerances, out: Path, *, filters: Filters | None = None, names: bool = False, title: str = "Matside",
    note: str = "", language: str = "en",
) -> Path:  # fmt: skip
    """Write out/cohorts/index.html and its CSV files; returns the page.

    filters : the latest term where no period is asked for. names : athletes' codes show on hovering and in dots.csv; never
    for a page that is handed on. Raises MatsideError where nothing can be compared.
    """
    tr = translations(language)
    asked = filters or Filters()
    newest = str(asked.until or store.latest_date())
    if not newest:
        raise MatsideError("Cohorts: no clip in the results has a date. Give dates in clips.csv, run again, then compare.")
    since = asked.since or latest(newest, WEEKS)
    readings = store.lean_readings(
        since=str(since), until=newest, skill=asked.skill, setting=asked.setting, lead_side=asked.lead_side, in_cohorts=True
    )
    if readings.empty:
        raise MatsideError(
            f"Cohorts: no readings with a cohort from {since} to {newest}. Give cohorts in the roster, or ask for another period with --since and --until."
        )
    scored = with_verdicts(readings, tolerances)
    counts, dark = count_verdicts(scored, [*CELL, "cohort"]), cannot_tell_tables(scored)
    met, terms = share_table(counts, [*CELL, "cohort"], Verdict.MET), next_term(counts)
    del scored
    table = sessions(readings)
    del readings  # years of them are large
    judged = learn(table).judge(table)
    del table
    compared = _as_shown(compare_judged(judged))
    starts = drill_starts(store)
    drills = drill_effects(judged, starts[starts["date"].between(str(since), newest)])
    view = cohorts_view(tr, compared, met, dark, terms, drills, tolerances, names=names)
    files = {
        "dots.csv": compared.dots if names else without_names(compared.dots),
        "means.csv": compared.means,
        "differences.csv": compared.differences,
        "met.csv": met,
        "next_term.csv": pd.DataFrame([t.__dict__ for t in terms]),
        "drills.csv": pd.DataFrame([d.__dict__ for d in drills]),
        **{f"cannot_tell_by_{name}.csv": one for name, one in dark.items()},
    }
    for name in [name for name, one in files.items() if not len(one.columns)]:
        del files[name]
        (out / FOLDER / name).unlink(missing_ok=True)  # one of an earlier page that showed more
    env = page_environment(store, tolerances, title=title, note=note, tr=tr)
    text = env.get_template("cohorts.html").render(view=view, root="../", filters=_filter_words(tr, asked), csvs=list(files))
    page = out / FOLDER / "index.html"
    write_changed(page, text)
    for name, one in files.items():
        write_changed(out / FOLDER / name, csv_text(one))
    return page


def _as_shown(compared: Comparison) -> Comparison:
    """The same with the intervals of levels and means ending where their details' values end, for the page and its tables."""
    return replace(compared, dots=_with_shown_ends(compared.dots, "level"), means=_with_shown_ends(compared.means, "mean"))


def _with_shown_ends(table: pd.DataFrame, value: str) -> pd.DataFrame:
    columns = (table[c] for c in (value, "low", "high", "skill", "detail"))
    ends = [shown_ends(*row) for row in zip(*columns, strict=True)]
    return table.assign(low=[low for low, _ in ends], high=[high for _, high in ends])


def _filter_words(tr: Translations, filters: Filters) -> str:
    words = filters.words()
    if filters.since:
        return tr.gettext("Shown: %s.") % words
    last = tr.gettext("Shown: the last %d weeks") % WEEKS
    return f"{last}, {words}." if words else f"{last}."
