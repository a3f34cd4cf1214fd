"""The demo season as pages: an invented club, its trends and its cohorts, in a folder of its own."""

from __future__ import annotations

from pathlib import Path

from pipeline.reports.cohort_page import write_cohorts
from pipeline.reports.trend_page import write_athletes
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store
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
        write_athletes(store, tolerances, out, title=title, language=language, front=True)
    return out / "index.html"
