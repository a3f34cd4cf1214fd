"""Writes the pages of points rounds: points/DATE.html filled, points/blank.html to fill in by hand, a CSV beside each."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path

from pipeline.errors import MatsideError
from pipeline.practice.points import ScoreSheet, fill_sheet
from pipeline.practice.points_plan import Plan
from pipeline.practice.points_table import blank_table, sheet_table
from pipeline.practice.teams import Teams, make_teams
from pipeline.reports.files import write_changed
from pipeline.reports.language import Translations, day_words, translations
from pipeline.reports.pages import beside_stylesheet, content_policy, environment
from pipeline.reports.points_files import BLANK, FOLDER, sheets
from pipeline.reports.points_view import PointsView, blank_view, points_view
from pipeline.reports.site import common
from pipeline.scoring.tolerances import Tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import INVENTED, Store

RECENT_DAYS = 42  # who is on a blank sheet where there is no roster: athletes filmed in the six weeks before the newest clip


def write_filled(
    store: Store, tolerances: Tolerances, out: Path, plan: Plan, *, since: str = "", until: str = "", title: str = "Matside", language: str = "en"
) -> Path:  # fmt: skip
    """The sheet of a session's readings. since, until : ISO dates, both included; the newest day with readings where not given.
    Raises MatsideError where nothing was measured then."""
    since = since or until or store.latest_date()
    until = until or since
    scored = score(store.readings(since=since, until=until), tolerances)
    if scored.empty:
        days = sorted(set(store.readings()["date"]) - {""})
        known = f" The latest days with readings: {', '.join(days[-5:])}." if days else ""
        raise MatsideError(f"Points round: no readings from {since} to {until}.{known}")
    return write_sheet(store, tolerances, out, fill_sheet(plan, scored), since, until=until, title=title, language=language)


def write_sheet(
    store: Store, tolerances: Tolerances, out: Path, sheet: ScoreSheet, day: str, *, until: str = "", title: str = "Matside", language: str = "en"
) -> Path:  # fmt: skip
    """Any filled sheet under its day, and its CSV. Returns the page."""
    tr = translations(language)
    name = day if not until or until == day else f"{day}_{until}"
    when = day_words(tr, day)
    if until and until != day:
        when = tr.gettext("%(first)s to %(last)s") % {"first": when, "last": day_words(tr, until)}
    if sheet.by_hand:
        name += "-by-hand"
    write_changed(out / FOLDER / f"{name}.csv", sheet_table(sheet))
    return _write(store, tolerances, out, tr, points_view(tr, sheet), name, when, title)


def write_blank(
    store: Store, tolerances: Tolerances, out: Path, plan: Plan, there: Mapping[str, str], *, title: str = "Matside", language: str = "en"
) -> Path:  # fmt: skip
    """The empty sheet and the CSV to enter it from; there : code -> cohort. Returns the page."""
    tr = translations(language)
    teams: Teams = make_teams(plan, there)
    write_changed(out / FOLDER / f"{BLANK}.csv", blank_table(plan, teams))
    return _write(store, tolerances, out, tr, blank_view(tr, plan, teams), BLANK, "", title)


def who_may_be_there(store: Store, today: str) -> dict[str, str]:
    """Code -> cohort for a blank sheet: the latest roster's athletes with consent on an ISO date; without one, who was filmed lately."""
    roster = store.roster()
    if len(roster):
        agreed = roster[roster["consent_until"] >= today]
        return dict(zip(agreed["athlete"], agreed["cohort"], strict=True))
    newest = store.latest_date()
    since = (date.fromisoformat(newest) - timedelta(days=RECENT_DAYS)).isoformat() if newest else ""
    attempts = store.attempts()  # a clip that was not opened, for want of consent, has none
    lately = attempts[(attempts["athlete"] != "") & (attempts["date"] >= since)]
    return dict(zip(lately["athlete"], lately["cohort"], strict=True))


def _write(store: Store, tolerances: Tolerances, out: Path, tr: Translations, view: PointsView, name: str, when: str, title: str) -> Path:
    env = environment(tr)
    css = beside_stylesheet()
    env.globals.update(common(tr, tolerances, title, store.fact(INVENTED)), css=css, csp=content_policy(style=css))
    page = out / FOLDER / f"{name}.html"
    others = [(f"{one}.html", day_words(tr, one[:10])) for one in sheets(out) if one not in (name, BLANK)][:8]
    write_changed(
        page, env.get_template("points.html").render(view=view, root="../", when=when, csv=f"{name}.csv", others=others)
    )  # fmt: skip
    return page
