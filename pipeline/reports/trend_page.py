"""Writes an athlete's trend page and, beside it, the CSV of every point drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import jinja2
import pandas as pd

from pipeline import __version__
from pipeline.errors import MatsideError, one_line, shown
from pipeline.files import safe_cell
from pipeline.reports.files import slug, write_changed
from pipeline.reports.language import Translations, translations
from pipeline.reports.pages import content_policy, environment, trend_stylesheet
from pipeline.reports.trend_view import TrendView, trend_view
from pipeline.reports.words import CAUTION
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import INVENTED, Store
from pipeline.trends.athlete import ENOUGH_SESSIONS, athlete_trends
from pipeline.trends.filters import Filters, latest
from pipeline.trends.precision import Precision, learn
from pipeline.trends.sessions import sessions
from pipeline.trends.setting_drop import learn_drop_scatter, pair_settings
from pipeline.trends.shrink import Prior

WEEKS = 26  # the last half year, unless a period is asked for
ENOUGH_TO_LEARN = 30  # athletes from whom chance is learnt; more tell hardly more and take longer
FOLDER = "trends"


@dataclass(frozen=True)
class ClubChance:
    """What the club shows to be chance over a period, learnt once for many pages."""

    precision: Precision
    drop_scatter: dict[tuple[str, ...], Prior]


def period_of(store: Store, filters: Filters) -> Filters:
    """The filters with a start where none was asked for: `WEEKS` before the newest clip."""
    newest = str(filters.until or store.latest_date())
    if filters.since or not newest:
        return filters
    return Filters(latest(newest, WEEKS), filters.until, filters.skill, filters.setting, filters.lead_side)


def learn_chance(store: Store, filters: Filters, *, including: str = "") -> ClubChance:
    """Learn from at most `ENOUGH_TO_LEARN` athletes, spread evenly over the codes, and the one asked about."""
    codes = [c for c in store.athletes()["athlete"] if c]
    chosen = {codes[i * len(codes) // ENOUGH_TO_LEARN] for i in range(ENOUGH_TO_LEARN)} if len(codes) > ENOUGH_TO_LEARN else set(codes)
    readings = store.lean_readings(
        athletes=sorted(chosen | ({including} if including else set())),
        since=_iso(filters.since),
        until=_iso(filters.until),
        skill=filters.skill,
    )
    table = sessions(readings)
    return ClubChance(learn(table), learn_drop_scatter(pair_settings(table)))


def _iso(day: object) -> str | None:
    return str(day) if day else None


def page_environment(store: Store, tolerances: Tolerances, *, title: str, note: str, tr: Translations) -> jinja2.Environment:
    """The pages' environment with what base.html needs; readings that are invented say so on every page."""
    env = environment(tr)
    env.globals.update(
        css=trend_stylesheet(), csp=content_policy(style=trend_stylesheet()), site_title=title, note=note or store.fact(INVENTED), caution=CAUTION,
        made=tr.gettext("Matside %(version)s. Tolerances: %(source)s.") % {
            "version": __version__, "source": f"{tolerances.name} ({tolerances.source})",
        },
    )  # fmt: skip
    return env


def write_athlete(
    store: Store, tolerances: Tolerances, out: Path, code: str, *, filters: Filters | None = None, chance: ClubChance | None = None,
    title: str = "Matside", note: str = "", language: str = "en",
) -> Path:  # fmt: skip
    """Write out/trends/CODE.html and CODE.csv; returns the page.

    chance : learnt from the club; learnt here where not given. The pages before and after are those that are there already.
    Raises MatsideError where the code has no readings.
    """
    tr = translations(language)
    env = page_environment(store, tolerances, title=title, note=note, tr=tr)
    there = [c for c in store.athletes()["athlete"] if c and (c == code or (out / FOLDER / f"{slug(c)}.html").is_file())]
    _write_one(store, tolerances, out, code, filters, chance, env, tr, _neighbours(there, code))
    return out / FOLDER / f"{slug(code)}.html"


def _write_one(
    store: Store, tolerances: Tolerances, out: Path, code: str, filters: Filters | None, chance: ClubChance | None,
    env: jinja2.Environment, tr: Translations, neighbours: tuple[str, str], *, athlete_page: bool = False,
) -> TrendView:  # fmt: skip
    asked = period_of(store, filters or Filters())
    if code not in set(store.athletes()["athlete"]):
        known = ", ".join(store.athletes()["athlete"].head(12))
        raise MatsideError(
            f"{one_line(code) or shown(code)}: no readings of this athlete. Expected one of the codes in the results ({known}, …). Check the spelling."
        )
    rows = store.readings(code, since=_iso(asked.since), until=_iso(asked.until))
    chance = chance or learn_chance(store, asked, including=code)
    trends = athlete_trends(asked.apply(rows), code, chance.precision)
    cohorts = list(dict.fromkeys(rows.loc[rows["cohort"] != "", "cohort"]))
    notes = store.notes()
    notes = notes[notes["about"].isin([code, *cohorts]) & notes["date"].between(str(asked.since or ""), str(asked.until or "9999"))]
    view = trend_view(tr, code, " → ".join(cohorts), trends, tolerances, notes, chance.drop_scatter)
    name = slug(code)
    text = env.get_template("trend.html").render(
        view=view, root="../", csv=f"{name}.csv", filters=filter_words(tr, filters),
        athlete_page=f"../athletes/{name}.html" if athlete_page or (out / "athletes" / f"{name}.html").is_file() else "", before=_neighbour(neighbours[0]),
        after=_neighbour(neighbours[1]), cohorts_page="../cohorts/index.html" if _has_cohorts(out) else "",
    )  # fmt: skip
    write_changed(out / FOLDER / f"{name}.html", text)
    write_changed(out / FOLDER / f"{name}.csv", csv_text(view.figures))
    return view


def write_athletes(
    store: Store, tolerances: Tolerances, out: Path, *, codes: Sequence[str] | None = None, title: str = "Matside", note: str = "",
    language: str = "en", front: bool = False, beside: Sequence[tuple[str, str]] = (), athlete_pages: bool = False,
) -> Path:  # fmt: skip
    """A trend page for every athlete with a dated clip, the club's chance learnt once, and out/trends/index.html, which it returns.

    front : also write that list as out/index.html, where there is no other front page. beside : links on it, (address, words).
    athlete_pages : every athlete with attempts has a page of her own, or will have; where False, those whose page is there already.
    """
    tr = translations(language)
    filters = period_of(store, Filters())
    dated = list(store.athletes()["athlete"])
    everyone = [c for c in (dated if codes is None else codes) if c and c in set(dated)]
    chance = learn_chance(store, filters)
    filmed = set(store.attempts()["athlete"]) if athlete_pages else set()
    env = page_environment(store, tolerances, title=title, note=note, tr=tr)
    entries = []
    for code in everyone:
        view = _write_one(
            store, tolerances, out, code, None, chance, env, tr, _neighbours(everyone, code), athlete_page=athlete_pages and code in filmed
        )
        entries.append({"code": code, "file": f"{slug(code)}.html", "cohort": view.cohort, "said": view.changes})
    template = env.get_template("trends.html")
    cohorts = _has_cohorts(out)
    for page, root, folder in [(out / FOLDER / "index.html", "../", ""), *([(out / "index.html", "", f"{FOLDER}/")] if front else [])]:
        write_changed(
            page,
            template.render(
                entries=entries,
                root=root,
                folder=folder,
                cohorts=cohorts,
                beside=beside,
                filters=filter_words(tr, None),
                enough=ENOUGH_SESSIONS,
            ),
        )
    return out / FOLDER / "index.html"


def csv_text(table: pd.DataFrame) -> str:
    """A table as CSV, values to four places; a cell that a spreadsheet would take for a formula is quoted with an apostrophe."""
    safe = table.copy()
    for column in safe.select_dtypes("object").columns:
        safe[column] = [safe_cell(value) for value in safe[column]]
    return safe.to_csv(index=False, float_format="%.4f", lineterminator="\n")


def filter_words(tr: Translations, filters: Filters | None) -> str:
    """What of the readings a page shows."""
    words = filters.words() if filters else ""
    if filters and filters.since:
        return tr.gettext("Shown: %s.") % words
    last = tr.gettext("Shown: the last %d weeks") % WEEKS
    return f"{last}, {words}." if words else f"{last}."


def _neighbours(codes: Sequence[str], code: str) -> tuple[str, str]:
    """The codes before and after one; empty where there is none."""
    i = codes.index(code) if code in codes else -1
    return (codes[i - 1] if i > 0 else "", codes[i + 1] if 0 <= i < len(codes) - 1 else "")


def _neighbour(code: str) -> dict[str, str] | None:
    return {"code": code, "file": f"{slug(code)}.html"} if code else None


def _has_cohorts(out: Path) -> bool:
    return (out / "cohorts" / "index.html").is_file()
