"""One athlete's page as a single file for her family: pictures and moving pictures inside it, nobody else in it."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import MatsideError
from pipeline.practice.focus import choose_focus
from pipeline.practice.pins import read_pins
from pipeline.reports.athlete_view import athlete_view, scripts_of
from pipeline.reports.attempt_view import Folders
from pipeline.reports.files import write_changed
from pipeline.reports.focus_view import family_focus
from pipeline.reports.language import translations
from pipeline.reports.pages import environment
from pipeline.reports.records import attempts_of
from pipeline.reports.routine_view import read_pairs
from pipeline.reports.site import common
from pipeline.scoring.tolerances import Tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import INVENTED, Store

FAMILY = '<meta name="matside-family" content="{}">'  # in the head of these pages, and of no other


def share_athlete(
    store: Store, tolerances: Tolerances, athlete: str, path: Path, data: Path, *, since: str = "", title: str = "Matside", language: str = "en"
) -> Path:  # fmt: skip
    """Write the page of one athlete to `path` and return it. Written only when asked for, never by a run.

    The file needs nothing beside it and links to nothing. It names no other athlete, no cohort and no clip file; its pictures
    are those already blurred in the `data` folder. What she works on is the same as on the coach's page. since : an ISO date, to share only what was filmed from then on.
    Raises MatsideError where there is nothing to share, the name is no page's, the file cannot be written, or a file of somebody else's is
    there.
    """
    if not _may_be_written_over(path, athlete):
        raise MatsideError(
            f"{path}: expected a new file or an earlier page for the family of {athlete}, but another file is there. Choose another name."
        )
    if path.suffix.lower() not in (".html", ".htm"):
        raise MatsideError(f"{path}: expected a name that ends in .html, as only so a family's browser opens it. Add it to the name.")
    tr = translations(language)
    attempts = [a for a in attempts_of(store, score(store.readings(athlete), tolerances), athlete) if a.row.date >= since]
    if not athlete or not attempts:
        known = ", ".join(sorted(set(store.attempts()["athlete"]) - {""})) or "nobody"
        raise MatsideError(f"{athlete!r}: expected an athlete with attempts{f' since {since}' if since else ''}; on record: {known}.")
    focuses = choose_focus(store.readings(), tolerances, pins=read_pins(store))
    focus = family_focus(tr, [f for (who, _), f in focuses.items() if who == athlete], tolerances, since=since)
    bare = [type(a)(a.row._replace(cohort="", clip=""), a.readings) for a in attempts]
    view = athlete_view(
        tr, store, athlete, bare, tolerances, Folders(data, inside=True), read_pairs(store, tolerances, athlete=athlete, since=since)
    )
    env = environment(tr)
    env.globals.update(common(tr, tolerances, title, store.fact(INVENTED)), trends=False)
    text = env.get_template("athlete.html").render(
        athlete=view, root="", shared=True, before=None, after=None, focus=focus, **scripts_of(tr, view.attempts)
    )
    try:
        write_changed(path, text)
    except OSError as error:
        raise MatsideError(f"{path}: the page cannot be written ({error.strerror}). Choose another place or make room.") from error
    return path


def _may_be_written_over(path: Path, athlete: str) -> bool:
    """Whether nothing is lost: no file is there, or this athlete's earlier page; a page of the club's, or another family's, is not."""
    try:
        with path.open(encoding="utf-8", errors="replace") as there:
            return FAMILY.format(athlete) in there.read(4000)
    except FileNotFoundError:
        return True
    except OSError as error:
        raise MatsideError(f"{path}: cannot be written there ({error.strerror}). Choose another place or name.") from error
