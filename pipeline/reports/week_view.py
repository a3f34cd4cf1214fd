"""One week of everybody: the table, what was not measured, the clips without a result."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from pipeline.reports.best import from_target
from pipeline.reports.language import Translations, week_words
from pipeline.reports.places import athlete_file
from pipeline.reports.reading_view import (
    VERDICTS,
    VerdictView,
    column_title,
    film_again,
    full_value,
    is_further,
    short_doubt,
    short_value,
    skill_title,
)
from pipeline.reports.records import COLUMN, ReadingRow, Records, Week, columns_of
from pipeline.reports.said import said
from pipeline.scoring.tolerances import Tolerances
from pipeline.scoring.verdicts import NOT_JUDGED
from pipeline.vocabulary import Verdict, known_detail

MEASURED, NEEDS_YOU = "measured", "needs you"  # of a clip's statuses, the two that the page tells apart
LATEST_WEEKS = 8
MOST_PLACES = 12  # links under one reason; the rest are counted


@dataclass(frozen=True)
class Mark:
    """One attempt's verdict in a table cell."""

    v: VerdictView
    short: str
    doubt: str  # its ± or interval, without the unit
    href: str
    title: str


@dataclass(frozen=True)
class CellView:
    """One cell: no marks where there was no attempt."""

    column: str
    marks: list[Mark]
    first: bool = False  # of its skill's columns
    skill: str = ""
    apart: str = ""  # how far the attempt furthest from what is wanted is off; nothing where none can be told


@dataclass(frozen=True)
class RowView:
    """One line of a table."""

    athlete: str
    cohort: str
    href: str
    cells: list[CellView]


@dataclass(frozen=True)
class ColumnView:
    """One column's heading."""

    title: str
    what: str


@dataclass(frozen=True)
class GroupView:
    """The columns of one skill."""

    skill: str
    title: str
    columns: list[ColumnView]


@dataclass(frozen=True)
class Place:
    """A link with its words."""

    href: str
    words: str


@dataclass(frozen=True)
class GapView:
    """One reason for missing readings, how to film where it does not say so itself, and where it happened."""

    reason: str
    film: str
    places: list[Place]
    more: str


@dataclass(frozen=True)
class ClipView:
    """One clip without a result."""

    name: str
    status: str
    reason: str


@dataclass(frozen=True)
class TableView:
    """A line an athlete, a group of columns a skill."""

    groups: list[GroupView]
    rows: list[RowView]


@dataclass(frozen=True)
class WeekView:
    """A week's page."""

    key: str
    title: str
    summary: str
    table: TableView  # the body lines
    further: TableView
    gaps: list[GapView]


@dataclass(frozen=True)
class WeekLink:
    """A week in the list of weeks."""

    key: str
    title: str
    href: str
    count: str


@dataclass(frozen=True)
class Problems:
    """Clips that need the coach (of any week), this week's other clips without a result, and those measured with a doubt."""

    waiting: list[ClipView] = field(default_factory=list)
    others: list[ClipView] = field(default_factory=list)
    doubted: list[ClipView] = field(default_factory=list)
    elsewhere: list[Place] = field(default_factory=list)  # other recent weeks with clips that gave no result


def mark_of(tr: Translations, row: ReadingRow, root: str) -> Mark:
    """The mark of one reading, leading to its place on the athlete's page."""
    verdict = tr.gettext(VERDICTS[row.verdict].word)
    ranged = f", {full_value(tr, row)}" if math.isfinite(row.value) else ""
    title = f"{row.athlete}, {column_title(tr, row.column)}: {verdict}{ranged}"  # also what a screen reader says beyond the value
    return Mark(VERDICTS[row.verdict], short_value(tr, row), short_doubt(row), f"{root}#{row.anchor}", title)


def week_view(tr: Translations, week: Week, root: str, pages: Mapping[str, str], tolerances: Tolerances) -> WeekView:
    """The page of one week. `root` leads from the page to the folder of the index; pages : the file of each attempt's page, by its link."""
    rows = week.readings
    lines = [r for r in rows if not is_further(r.skill, r.detail)]
    further = [r for r in rows if is_further(r.skill, r.detail)]
    return WeekView(
        key=week.key,
        title=week_words(tr, week.date),
        summary=_summary(tr, week, rows),
        table=_table(tr, lines, root, pages, tolerances),
        further=_table(tr, further, root, pages, tolerances),
        gaps=_gaps(tr, rows, pages),
    )


def latest_week(records: Records) -> Week:
    """Of every athlete each skill on the newest day it was filmed, of the last `LATEST_WEEKS` before the newest clip."""
    dates = [a.row.date for ones in records.athletes.values() for a in ones if a.row.date]
    since = (date.fromisoformat(max(dates)) - timedelta(weeks=LATEST_WEEKS)).isoformat() if dates else ""
    week = Week("latest", max(dates, default=""))
    for ones in records.athletes.values():
        newest = {a.row.skill: a.row.date for a in ones}  # in time order
        week.attempts += [a for a in ones if a.row.date >= since and a.row.date == newest[a.row.skill] != ""]
    return week


def _summary(tr: Translations, week: Week, rows: Sequence[ReadingRow]) -> str:
    clips, attempts = len(week.clips), len(week.attempts)
    if not rows:
        return tr.gettext("Nothing was measured in this week.") if week.date else tr.gettext("None of them was measured.")
    lines = [r for r in rows if not is_further(r.skill, r.detail)]
    further = [r for r in rows if is_further(r.skill, r.detail)]
    athletes = len({r.athlete for r in rows})
    return " ".join((
        tr.ngettext("%d clip,", "%d clips,", clips) % clips,
        tr.ngettext("%d attempt", "%d attempts", attempts) % attempts,
        tr.ngettext("by %d athlete.", "by %d athletes.", athletes) % athletes,
        tr.gettext("%(told)d of %(all)d body lines could be told,") % _told(lines),
        tr.gettext("and %(told)d of %(all)d further details.") % _told(further),
    ))  # fmt: skip


def _told(rows: Sequence[ReadingRow]) -> dict[str, int]:
    return {"told": sum(r.verdict != Verdict.CANNOT_TELL for r in rows), "all": len(rows)}


def _table(tr: Translations, rows: Sequence[ReadingRow], root: str, pages: Mapping[str, str], tolerances: Tolerances) -> TableView:
    columns = columns_of(rows)
    return TableView(_groups(tr, columns), _rows(tr, rows, columns, root, pages, tolerances))


def _groups(tr: Translations, columns: Sequence[COLUMN]) -> list[GroupView]:
    groups: dict[str, list[ColumnView]] = defaultdict(list)
    for column in columns:
        known = known_detail(column[0], column[1])
        groups[column[0]].append(ColumnView(column_title(tr, column), tr.gettext(known.what) if known else ""))
    return [GroupView(skill, skill_title(skill), views) for skill, views in groups.items()]


def _rows(
    tr: Translations, rows: Sequence[ReadingRow], columns: Sequence[COLUMN], root: str, pages: Mapping[str, str], tolerances: Tolerances
) -> list[RowView]:
    cells: dict[str, dict[COLUMN, list[Mark]]] = defaultdict(lambda: defaultdict(list))
    cohorts: dict[str, str] = {}
    apart: dict[str, dict[COLUMN, str]] = defaultdict(dict)
    for row in rows:
        cells[row.athlete][row.column].append(mark_of(tr, row, f"{root}athletes/{pages.get(row.link, athlete_file(row.athlete))}"))
        cohorts[row.athlete] = row.cohort
        tolerance = tolerances.get((row.skill, row.detail))
        if tolerance is not None and math.isfinite(row.value):
            off = max(from_target(row.value, tolerance), float(apart[row.athlete].get(row.column) or 0))
            apart[row.athlete][row.column] = f"{off:.4g}"
    firsts = {next(c for c in columns if c[0] == skill) for skill in {c[0] for c in columns}}
    titles = {c: f"{tr.gettext(skill_title(c[0]))}: {column_title(tr, c)}" for c in columns}
    return [
        RowView(
            code,
            cohorts[code],
            f"athletes/{athlete_file(code)}",
            [CellView(titles[c], cells[code].get(c, []), c in firsts, c[0], apart[code].get(c, "")) for c in columns],
        )
        for code in sorted(cells)
    ]


def _gaps(tr: Translations, rows: Sequence[ReadingRow], pages: Mapping[str, str]) -> list[GapView]:
    found: dict[tuple[str, str], list[ReadingRow]] = defaultdict(list)
    for row in rows:
        own = row.reason in NOT_JUDGED and math.isfinite(row.value)  # measured, and there is nothing to tell
        if (row.verdict == Verdict.CANNOT_TELL or not math.isfinite(row.value)) and not own:
            found[row.reason, film_again(row)].append(row)
    out = []
    for (reason, film), where in sorted(found.items(), key=lambda item: -len(item[1])):
        places = [
            Place(
                f"athletes/{pages.get(r.link, athlete_file(r.athlete))}#{r.anchor}",
                f"{r.athlete} {tr.gettext(skill_title(r.skill))}, {column_title(tr, r.column)}",
            )
            for r in where[:MOST_PLACES]
        ]
        more = tr.gettext("and %d more") % (len(where) - MOST_PLACES) if len(where) > MOST_PLACES else ""
        said_of = said(tr, reason) if reason else tr.gettext("No reason was given.")
        out.append(GapView(said_of, tr.gettext(film) if film else "", places, more))
    return out


def left_out(reason: str) -> bool:
    """Whether the coach said that a clip is not one of theirs; no problem then, only a row in clips.csv."""
    return reason.startswith("left out: ")


def problems_of(tr: Translations, weeks: Collection[Week], key: str, *, latest: bool) -> Problems:
    """Clips that wait for the coach, and of this week (undated ones with the latest) those that gave nothing or left a doubt.
    With the latest week also which of the `LATEST_WEEKS` have clips that gave nothing: what was filmed earlier may have come tonight."""
    waiting, others, doubted = [], [], []
    elsewhere: dict[str, Place] = {}
    recent = sorted({week.key for week in weeks if week.key != "undated"}, reverse=True)[:LATEST_WEEKS]
    for week in weeks:
        without = sum(clip.status not in (MEASURED, NEEDS_YOU) and not left_out(clip.reason) for clip in week.clips)
        if latest and without and week.key != key and week.key in recent:
            words = tr.ngettext("%(week)s: %(n)d clip", "%(week)s: %(n)d clips", without) % {
                "week": week_words(tr, week.date),
                "n": without,
            }
            elsewhere[week.key] = Place(f"weeks/{week.key}.html#without", words)
        here = week.key == key or (latest and week.key == "undated")
        for clip in week.clips:
            view = ClipView(clip.clip, clip.status, said(tr, clip.reason))
            if clip.status == NEEDS_YOU:
                waiting.append(view)
            elif here and clip.status != MEASURED and not left_out(clip.reason):
                others.append(view)
            elif here and clip.reason:
                doubted.append(view)
    return Problems(waiting, others, doubted, [elsewhere[week] for week in recent if week in elsewhere])
