"""The practice sheet: practice.html beside the index, a printed page a cohort, the same on a phone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import NamedTuple

import jinja2
import pandas as pd

from pipeline.errors import MatsideError, one_line
from pipeline.practice.focus import Focus, Why
from pipeline.practice.lineup import Place, line_up
from pipeline.practice.settings import PracticeSettings
from pipeline.practice.sheet import Group, Line, Sheet, make_sheet
from pipeline.reports.files import slug, write_changed
from pipeline.reports.focus_view import FocusView, focus_view
from pipeline.reports.language import Translations, day_words
from pipeline.reports.pages import content_policy, practice_stylesheet
from pipeline.reports.practice_words import BY_EYE, NOT_FILMED, OTHER_STATION, STATIONS
from pipeline.reports.reading_view import skill_title
from pipeline.scoring.tolerances import Tolerances
from pipeline.vocabulary import Skill

PAGE = "practice.html"
FEW, ROOMY, FULL = 3, 6, 9  # athletes on a page up to which the type is huge, largest, and large


class Span(NamedTuple):
    """A row of the plan: from minute to minute, what, and for each group where."""

    minutes: str
    length: str
    what: str  # for all groups together, or empty
    places: list[str]


@dataclass(frozen=True)
class StationView:
    """The heading of a station's column."""

    title: str
    do: str
    spot: str
    caution: str
    needs: bool  # a spotter


@dataclass(frozen=True)
class LineView:
    """One athlete's row."""

    number: int
    code: str
    lead: str  # left, right or a question mark, in words
    short: str  # L, R, ?
    warning: str
    count: str  # of attempts, where the clips say otherwise than the roster
    cells: list[FocusView]
    first: int | None


@dataclass(frozen=True)
class GroupView:
    """A group's rows under their heading."""

    title: str
    start: str
    lines: list[LineView]


@dataclass(frozen=True)
class PageView:
    """One printed page."""

    id: str
    title: str
    part: str  # which group, where a cohort needs several pages
    summary: str
    left: str  # the left-leaders by code
    size: str  # of the type: few, roomy, full, tight
    spans: list[Span]
    group_titles: list[str]
    stations: list[StationView]
    groups: list[GroupView]


def practice_sheets(
    roster: pd.DataFrame, attempts: pd.DataFrame, focuses: Mapping[tuple[str, str], Focus], settings: PracticeSettings, *, cohort: str = "",
    today: date | None = None,
) -> list[Sheet]:  # fmt: skip
    """A sheet for every cohort that trains, or for the one asked for; today : see `line_up`. Raises MatsideError where there is no such cohort."""
    lines = {name: line for name, line in line_up(roster, attempts, today=today).items() if line}
    if cohort:
        named = {name.lower(): name for name in lines}
        if cohort.lower() not in named:
            raise MatsideError(
                f"{one_line(cohort)}: expected a cohort on the roster or in the clips: {', '.join(filter(None, lines)) or 'none'}."
            )
        lines = {named[cohort.lower()]: lines[named[cohort.lower()]]}
    return [make_sheet(name, line, focuses, settings) for name, line in lines.items()]


def cohort_file(cohort: str) -> str:
    """The file of one cohort's sheet by itself, however the cohort was typed."""
    return f"{Path(PAGE).stem}-{slug(cohort.lower())}.html"


def write_practice(
    sheets: Sequence[Sheet], tolerances: Tolerances, path: Path, env: jinja2.Environment, tr: Translations, *, latest: str
) -> Path:  # fmt: skip
    """Write the page with a printed part a cohort; without sheets an old one goes. latest : ISO date of the newest clip."""
    if not sheets:
        path.unlink(missing_ok=True)
        return path
    pages = [page for sheet in sheets for page in page_views(tr, sheet, tolerances)]
    style = practice_stylesheet(sheets[0].settings.paper)
    text = env.get_template("practice.html").render(
        css=style, csp=content_policy(style=style), root="", pages=pages, tries=sheets[0].settings.tries,
        from_clips=tr.gettext("From clips up to %s.") % day_words(tr, latest) if latest else tr.gettext("No clips yet."),
    )  # fmt: skip
    write_changed(path, text)
    return path


def page_views(tr: Translations, sheet: Sheet, tolerances: Tolerances) -> list[PageView]:
    """The printed pages of one cohort."""
    titles = [tr.gettext(skill_title(skill)) for skill in sheet.stations]
    name = sheet.cohort or tr.gettext("Without a cohort")
    pages, out = sheet.pages(), []
    left = [line.place.athlete for group in sheet.groups for line in group.lines if line.place.side == "left"]
    for i, groups in enumerate(pages):
        part = tr.gettext("page %(page)d of %(pages)d: group %(group)d") % {"page": i + 1, "pages": len(pages), "group": groups[0].number}
        count = sum(len(group.lines) for group in groups)
        out.append(PageView(
            id=f"sheet-{''.join(c if c.isalnum() else '-' for c in sheet.cohort) or 'none'}-{i + 1}",
            title=tr.gettext("%(cohort)s, %(minutes)d minutes") % {"cohort": name, "minutes": sheet.rotation.minutes},
            part=part if len(pages) > 1 else "",
            summary=_summary(tr, sheet),
            left=_left(tr, left),
            size="few" if count <= FEW else "roomy" if count <= ROOMY else "full" if count <= FULL else "tight",
            spans=_spans(tr, sheet, titles),
            group_titles=[tr.gettext("Group %d") % group.number for group in sheet.groups],
            stations=[_station(tr, skill, title, skill in set(sheet.settings.needs_spotter)) for skill, title in zip(sheet.stations, titles, strict=True)],
            groups=[_group(tr, group, sheet, titles, tolerances) for group in groups],
        ))  # fmt: skip
    return out


def _summary(tr: Translations, sheet: Sheet) -> str:
    athletes = tr.ngettext("%d athlete", "%d athletes", sheet.athletes) % sheet.athletes
    groups = tr.ngettext("%d group", "%d groups", len(sheet.groups)) % len(sheet.groups)
    stations = tr.ngettext("%d station", "%d stations", len(sheet.stations)) % len(sheet.stations)
    return f"{athletes}, {groups}, {stations}."


def _left(tr: Translations, codes: Iterable[str]) -> str:
    codes = list(codes)
    if not codes:
        return tr.gettext("No left-leaders.")
    if len(", ".join(codes)) > 26:
        return tr.ngettext("%d left-leader, first in line.", "%d left-leaders, first in line.", len(codes)) % len(codes)
    return tr.gettext("Left-leaders: %s. Show them the mirror side.") % ", ".join(codes)


def _spans(tr: Translations, sheet: Sheet, titles: Sequence[str]) -> list[Span]:
    r = sheet.rotation
    rows: list[tuple[int, int, str, list[str]]] = [(0, r.warm_up, tr.gettext("Warm-up: wrists, neck, ankles"), [])] if r.warm_up else []
    rows += [(start, r.round_minutes, "", [titles[station] for station in r.places[i]]) for i, start in enumerate(r.starts)]
    if r.close:
        rows.append((r.minutes - r.close, r.close, tr.gettext("Close: one good thing each; mats away"), []))
    return [
        Span(f"{start}\N{EN DASH}{start + length}", tr.gettext("%d min") % length, what, places) for start, length, what, places in rows
    ]


def _station(tr: Translations, skill: str, title: str, needs: bool) -> StationView:
    words = STATIONS[Skill(skill)] if skill in set(Skill) else OTHER_STATION
    return StationView(title, tr.gettext(words.do), tr.gettext(words.spot), tr.gettext(words.caution) if words.caution else "", needs)


def _group(tr: Translations, group: Group, sheet: Sheet, titles: Sequence[str], tolerances: Tolerances) -> GroupView:
    start = titles[sheet.rotation.places[0][group.number - 1]]
    return GroupView(
        tr.gettext("Group %d") % group.number,
        tr.gettext("starts at: %s") % start,
        [_line(tr, line, tolerances) for line in group.lines],
    )


def _line(tr: Translations, line: Line, tolerances: Tolerances) -> LineView:
    place = line.place
    words = {"left": tr.gettext("left"), "right": tr.gettext("right"), "": tr.gettext("lead side unknown: ask")}
    short = {"left": tr.gettext("L"), "right": tr.gettext("R"), "": "?"}
    return LineView(
        line.number, place.athlete, words[place.side], short[place.side], *_warning(tr, place),
        [_cell(tr, focus, place, tolerances) for focus in line.focuses], line.first,
    )  # fmt: skip


def _cell(tr: Translations, focus: Focus | None, place: Place, tolerances: Tolerances) -> FocusView:
    """The focus at one station; nobody is asked to film a child without consent."""
    if focus is not None and (focus.certain or focus.why is Why.MET or place.may_film):
        return focus_view(tr, focus, tolerances)
    cue = tr.gettext(NOT_FILMED if place.may_film else BY_EYE)
    return FocusView("", str(Why.CANNOT_TELL), False, cue, "", "", "", "", "", "")


def _warning(tr: Translations, place: Place) -> tuple[str, str]:
    """That roster and clips differ, and in how many attempts; empty where they do not."""
    if not place.mismatch:
        return "", ""
    count = {"left": place.left, "right": place.right}[place.found]
    said = tr.gettext("roster L, clips R") if place.found == "right" else tr.gettext("roster R, clips L")
    return said, tr.gettext("in %(count)d of %(all)d attempts") % {"count": count, "all": place.left + place.right}
