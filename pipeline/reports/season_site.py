"""The demo season as pages: an invented club, its trends, its cohorts, its routines and a points round, in a folder of its own."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from pipeline.practice.points_plan import load_plan
from pipeline.practice.settings import kept_settings
from pipeline.reports.beside import beside_links
from pipeline.reports.cohort_page import write_cohorts
from pipeline.reports.language import translations
from pipeline.reports.pages import environment
from pipeline.reports.points_page import write_filled
from pipeline.reports.routine_page import write_routine
from pipeline.reports.routine_view import read_pairs
from pipeline.reports.site import common, write_sheet
from pipeline.reports.trend_page import write_athletes
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import INVENTED, Store
from pipeline.trends.season import write_season


def write_season_site(out: Path, tolerances: Tolerances, *, language: str = "en") -> Path:
    """Simulate the season into out/data/matside.sqlite, anew each time, and write its pages; returns the front page."""
    database = out / "data" / "matside.sqlite"
    for old in database.parent.glob("matside.sqlite*"):
        old.unlink()
    with Store(database) as store:
        write_season(store)
        title = "Saltmarsh Tumbling Club"
        write_cohorts(store, tolerances, out, title=title, language=language)
        tr = translations(language)
        env = environment(tr)
        env.globals.update(common(tr, tolerances, title, store.fact(INVENTED)))
        routine = write_routine(env, tr, store, tolerances, read_pairs(store, tolerances), out, pages=False)
        newest = date.fromisoformat(store.latest_date())
        monday = newest - timedelta(days=newest.weekday())  # the season's children are filmed on the days of one week
        write_filled(
            store, tolerances, out, load_plan(), since=monday.isoformat(), until=newest.isoformat(), title=title, language=language
        )  # fmt: skip
        sheet = write_sheet(store, tolerances, out, kept_settings(store), title=title, language=language)
        beside = [(sheet.name, tr.gettext("Practice sheet")), *beside_links(tr, out, eye=False, routine=routine)]
        write_athletes(store, tolerances, out, title=title, language=language, front=True, beside=beside)
    return out / "index.html"
