"""Writes routine.html, what falls apart first in a routine, and routine.csv beside it, where somebody was filmed in one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import jinja2
import pandas as pd

from pipeline.reports.files import write_changed
from pipeline.reports.language import Translations
from pipeline.reports.pages import beside_stylesheet, content_policy
from pipeline.reports.places import athlete_file
from pipeline.reports.reading_view import column_title, skill_title
from pipeline.reports.routine_steps import RoutineLine, routine_lines
from pipeline.reports.routine_view import LossRow, RoutineRecords, first_rows, loss_rows
from pipeline.reports.trend_page import csv_text
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store
from pipeline.trends.routine_loss import Basis, Loss

PAGE, TABLE = "routine.html", "routine.csv"
ANCHOR = "routine"  # of the section on an athlete's page
MOST_ROUTINES = 40  # listed on the page; the rest are counted


@dataclass(frozen=True)
class RoutineView:
    """The club's page."""

    summary: str
    said: str
    rows: list[LossRow]
    first: int  # how many of them stand open
    routines: list[RoutineLine] = field(default_factory=list)
    more_routines: str = ""
    athletes: list[tuple[str, str, str]] = field(default_factory=list)  # code, link, what falls apart first


def write_routine(
    env: jinja2.Environment, tr: Translations, store: Store, tolerances: Tolerances, records: RoutineRecords | None, out: Path, *, pages: bool = True
) -> bool:  # fmt: skip
    """Write the page, or remove it where there is nothing to show; whether it is there. pages : athletes' pages are there to link to."""
    if records is None:
        (out / PAGE).unlink(missing_ok=True)
        (out / TABLE).unlink(missing_ok=True)
        return False
    club = records.club()
    codes = sorted(set(records.pairs["athlete"]))
    each = {code: records.athlete(code) for code in codes}
    lines = routine_lines(tr, store) if pages else []
    view = RoutineView(
        summary=_summary(tr, len(codes), len(records.pairs.drop_duplicates(["athlete", "day"]))),
        said=_said(tr, club),
        rows=loss_rows(tr, club, tolerances, club=True),
        first=first_rows(club),
        routines=lines[:MOST_ROUTINES],
        more_routines=tr.gettext("and %d earlier ones, on the athletes' pages") % (len(lines) - MOST_ROUTINES) if len(lines) > MOST_ROUTINES else "",
        athletes=[
            (code, f"athletes/{athlete_file(code)}#{ANCHOR}" if pages else f"trends/{athlete_file(code)}", first_words(tr, losses))
            for code, losses in each.items()
        ],
    )  # fmt: skip
    css = beside_stylesheet()
    write_changed(out / PAGE, env.get_template("routine.html").render(view=view, root="", css=css, csp=content_policy(style=css)))
    if view.rows:
        write_changed(out / TABLE, csv_text(loss_table(club, each)))
    return True


def loss_table(club: Sequence[Loss], each: dict[str, list[Loss]]) -> pd.DataFrame:
    """Every figure of the page: the club's rows with an empty athlete, then each athlete's, ranked from 1."""
    rows = [{"athlete": who, "rank": i, **asdict(one)} for who, losses in (("", club), *each.items()) for i, one in enumerate(losses, 1)]
    return pd.DataFrame(rows).rename(columns={"basis": "interval_of"})


def first_words(tr: Translations, losses: Sequence[Loss]) -> str:
    """What falls apart first of one athlete, in a few words."""
    sure = [one for one in losses if one.sure and one.loss > 0]
    if sure:
        return tr.gettext("first: %s") % "; ".join(_name(tr, one) for one in sure[:3])
    if any(one.basis is Basis.USUAL for one in losses):
        return tr.gettext("nothing that we can be sure of yet")
    return tr.gettext("too few sessions to say what is usual")


def _name(tr: Translations, one: Loss) -> str:
    return f"{tr.gettext(skill_title(one.skill))}: {column_title(tr, one.column)}"


def _summary(tr: Translations, athletes: int, sessions: int) -> str:
    return " ".join((
        tr.gettext("What a skill loses inside a routine, against the same skill alone: the last half year."),
        tr.ngettext("%d athlete was filmed both ways,", "%d athletes were filmed both ways,", athletes) % athletes,
        tr.ngettext("in %d pair of sessions.", "in %d pairs of sessions.", sessions) % sessions,
    ))  # fmt: skip


def _said(tr: Translations, club: Sequence[Loss]) -> str:
    sure = [one for one in club if one.sure and one.loss > 0]
    if sure:
        return tr.gettext("First to go is %(first)s. %(sure)d of %(all)d details lose more than chance makes.") % {
            "first": _name(tr, sure[0]), "sure": len(sure), "all": len(club),
        }  # fmt: skip
    if any(one.basis is Basis.USUAL for one in club):
        return tr.gettext("Nothing that we can be sure of yet.")
    return tr.gettext(
        "Too few athletes were filmed both ways to say what is usual in this club: at least three are needed for each detail."
    )
