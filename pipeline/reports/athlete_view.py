"""One athlete: day by day, the newest attempts in full, earlier ones listed with links to the pages of their months."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.practice.eye import her_verdicts
from pipeline.reports.attempt_view import AttemptView, Drawing, Folders, MotionView, PictureView
from pipeline.reports.best import best_readings, with_curves
from pipeline.reports.eye_view import her_word
from pipeline.reports.files import slug
from pipeline.reports.language import Translations, day_words, month_words, translated, week_key, week_words
from pipeline.reports.pages import content_policy, script
from pipeline.reports.places import athlete_file, places_of
from pipeline.reports.reading_view import column_title, is_further, skill_title
from pipeline.reports.records import AttemptRecord, ReadingRow, columns_of
from pipeline.reports.routine_steps import RoutineLine, passages_of, routine_lines
from pipeline.reports.routine_view import LossRow, RoutineRecords, loss_rows
from pipeline.reports.week_view import CellView, WeekLink, mark_of
from pipeline.reports.words import PLAYER_WORDS
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store

MOST_DAYS = 8  # columns of the day-by-day table
FEW = 4  # readings on a page up to which none is folded away
HARDEST = ("not-yet", "close", "met")  # what a coach looks at first


@dataclass(frozen=True)
class DetailRow:
    """One line of the day-by-day table."""

    skill: str
    title: str
    cells: list[CellView]
    further: bool = False  # beyond the body lines; not put on paper


@dataclass(frozen=True)
class EarlierAttempt:
    """An attempt that stands on the page of its month; its place on the athlete's own page stays, so that bookmarks land."""

    anchor: str
    href: str
    words: str


@dataclass(frozen=True)
class Month:
    """One month's earlier attempts: its page's file, its title, the attempts as listed, and in full for the page itself."""

    file: str
    title: str
    count: str
    listed: list[EarlierAttempt]
    attempts: list[AttemptView] = field(default_factory=list)
    mates: list[MotionView] = field(default_factory=list)

    @property
    def opened(self) -> frozenset[str]:
        """The readings that stand open when the page is opened."""
        return opened(self.attempts)


@dataclass(frozen=True)
class AthleteView:
    """An athlete's page."""

    code: str
    summary: str
    week: WeekLink | None
    days: list[str]
    older_days: str
    rows: list[DetailRow]
    attempts: list[AttemptView]
    mates: list[MotionView] = field(default_factory=list)  # moving pictures of best attempts that stand elsewhere
    months: list[Month] = field(default_factory=list)  # the newest first
    pages: dict[str, str] = field(default_factory=dict)  # the file of each attempt's page, by its place there
    losses: list[LossRow] = field(default_factory=list)  # alone against routine, what falls apart first
    routines: list[RoutineLine] = field(default_factory=list)
    opened: frozenset[str] = frozenset()  # the readings that stand open when the page is opened

    def still(self, anchor: str) -> PictureView | None:
        """The picture of a reading on this page or a month's, where there is one."""
        views = (*self.attempts, *(view for month in self.months for view in month.attempts))
        return next((r.picture for view in views for r in (*view.readings, *view.further) if r.anchor == anchor), None)

    def place(self, anchor: str) -> str:
        """The link to a reading's place, on whichever page it stands."""
        file = next((file for attempt, file in self.pages.items() if anchor == attempt or anchor.startswith(f"{attempt}-")), "")
        return f"{file}#{anchor}"


def athlete_view(
    tr: Translations, store: Store, code: str, attempts: Sequence[AttemptRecord], tolerances: Tolerances, folders: Folders,
    routine: RoutineRecords | None = None, focus: str = "",
) -> AthleteView:  # fmt: skip
    """The page of one athlete; `attempts` are all of hers in time order. The latest come first on the page. routine : the club's
    pairs of alone and routine, where anybody was filmed in one. focus : the place of the reading she works on first, to stand open.
    A page for the family holds every attempt in full."""
    rows = [r for a in attempts for r in a.readings]
    dates = sorted({a.row.date for a in attempts}, reverse=True)
    latest = attempts[-1].row
    key = week_key(latest.date)
    cohort = latest.cohort
    count = tr.ngettext("%d attempt", "%d attempts", len(attempts)) % len(attempts)
    on = tr.ngettext("on %d day", "on %d days", len(dates)) % len(dates)
    summary = f"{cohort}. {count} {on}." if cohort else f"{count} {on}."
    older = len(dates) - MOST_DAYS
    own = "" if folders.inside else athlete_file(code)
    pages = {a.row.link: own for a in attempts} if folders.inside else places_of(code, attempts)
    hers = {} if folders.inside else her_verdicts(store, code)  # a coach's own words are not handed on with a page for the family
    drawing = Drawing(
        tr, store, tolerances, folders, with_curves(store, best_readings(attempts, tolerances)),
        {key: her_word(tr, *word) for key, word in hers.items()}, pages, passages_of(store, code),
    )  # fmt: skip
    said = list(zip(attempts, _day_words(tr, attempts), strict=True))[::-1]
    shown = [replace(drawing.attempt(a, day), latest=a.row.date == dates[0]) for a, day in said if pages[a.row.link] == own]
    anchors = {slug(a.row.link) for a in attempts}
    return AthleteView(
        code=code,
        summary=summary,
        week=WeekLink(key, week_words(tr, latest.date), f"weeks/{key}.html", ""),
        days=[day_words(tr, d) for d in dates[:MOST_DAYS]],
        older_days=tr.gettext("Earlier days (%d) are in the sections below.") % older if older > 0 else "",
        rows=_days_table(tr, rows, dates[:MOST_DAYS], pages),
        attempts=shown,
        mates=drawing.mates(shown),
        months=_months(tr, drawing, [(a, day) for a, day in said if pages[a.row.link] != own]),
        pages={slug(link): file for link, file in pages.items()},
        losses=loss_rows(tr, routine.athlete(code), tolerances, club=False) if routine else [],
        routines=[line for line in routine_lines(tr, store, code) if line.anchor in anchors] if routine else [],
        opened=opened(shown, focus),
    )


def opened(attempts: Sequence[AttemptView], focus: str = "") -> frozenset[str]:
    """The readings that stand open at first: all where there are few, else that of the focus, or the newest attempt's hardest."""
    lines = [r for view in attempts for r in view.readings]
    if len(lines) <= FEW:
        return frozenset(r.anchor for r in lines)
    if any(r.anchor == focus for view in attempts for r in (*view.readings, *view.further)):
        return frozenset([focus])
    newest = next(view.readings for view in attempts if view.readings)
    return frozenset([min(newest, key=lambda r: HARDEST.index(r.v.id) if r.v.id in HARDEST else len(HARDEST)).anchor])


def _months(tr: Translations, drawing: Drawing, said: Sequence[tuple[AttemptRecord, str]]) -> list[Month]:
    months: dict[str, list[tuple[AttemptRecord, str]]] = defaultdict(list)
    for a, day in said:
        months[drawing.pages[a.row.link]].append((a, day))
    out = []
    for file, ones in months.items():
        views = [drawing.attempt(a, day) for a, day in ones]
        listed = [EarlierAttempt(v.anchor, f"{file}#{v.anchor}", f"{tr.gettext(v.skill)}, {v.day}") for v in views]
        count = tr.ngettext("%d attempt", "%d attempts", len(ones)) % len(ones)
        out.append(Month(file, month_words(tr, ones[0][0].row.date), count, listed, views, drawing.mates(views)))
    return out


def scripts_of(tr: Translations, attempts: Sequence[AttemptView], *, forward: bool = False) -> dict[str, object]:
    """What a page with attempts needs for its scripts: the player if there is something to play, the ones that find a place on the
    page and (`forward`) lead on to a month's page, and a policy that lets them run."""
    player = script("player.js") if any(attempt.motion for attempt in attempts) else ""
    keys, land = script("keys.js"), script("land.js")
    return {
        "player": player, "player_words": translated(tr, PLAYER_WORDS), "keys_script": keys, "land_script": land, "forward": forward,
        "csp": content_policy(*filter(None, (player, keys, land))),
    }  # fmt: skip


def _days_table(tr: Translations, rows: Sequence[ReadingRow], dates: Sequence[str], pages: Mapping[str, str]) -> list[DetailRow]:
    cells: dict[tuple, list] = defaultdict(list)
    for row in rows:
        cells[row.column, row.date].append(mark_of(tr, row, pages.get(row.link, "")))
    return [
        DetailRow(
            skill_title(c[0]), column_title(tr, c), [CellView(day_words(tr, d), cells.get((c, d), [])) for d in dates], is_further(*c[:2])
        )
        for c in columns_of([r for r in rows if r.date in set(dates)])
    ]


def _day_words(tr: Translations, attempts: Sequence[AttemptRecord]) -> list[str]:
    """For each attempt its date, and which of the day's several of that skill it is."""
    count = Counter((a.row.date, a.row.skill) for a in attempts)
    seen: Counter[tuple[str, str]] = Counter()
    out = []
    for a in attempts:
        key = (a.row.date, a.row.skill)
        seen[key] += 1
        which = tr.gettext(", attempt %(which)d of %(all)d") % {"which": seen[key], "all": count[key]} if count[key] > 1 else ""
        out.append(day_words(tr, a.row.date) + which)
    return out
