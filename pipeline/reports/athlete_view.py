"""One athlete: day by day, then every attempt with its pictures, curves and readings."""

from __future__ import annotations

import base64
import math
import os
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote

import numpy as np
from jinja2.utils import htmlsafe_json_dumps
from markupsafe import Markup

from pipeline.measures.reading import Curve
from pipeline.practice.eye import her_verdicts
from pipeline.reports.best import Best, aligned, best_readings, with_curves
from pipeline.reports.eye_view import HerWord, her_word
from pipeline.reports.files import slug
from pipeline.reports.language import Translations, day_words, translated, week_key, week_words
from pipeline.reports.motion import FOLDER, line_key, read_motion
from pipeline.reports.numbers import number, plus_minus
from pipeline.reports.pages import content_policy, script
from pipeline.reports.plots import CurveData, curve_plot, overlay
from pipeline.reports.reading_view import VERDICTS, ReadingView, column_title, reading_view, short_value, skill_title
from pipeline.reports.records import COLUMN, AttemptRecord, ReadingRow, columns_of
from pipeline.reports.routine_steps import RoutineLine, routine_lines
from pipeline.reports.routine_view import LossRow, RoutineRecords, loss_rows
from pipeline.reports.week_view import CellView, WeekLink, mark_of
from pipeline.reports.words import PLAYER_WORDS, SKILL_WORDS
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Picture, Store
from pipeline.vocabulary import Setting, Skill

NOTHING = Markup("")
MEDIA_TYPES = {".jpg": "image/jpeg", ".mp4": "video/mp4"}
MOST_DAYS = 8  # columns of the day-by-day table


@dataclass(frozen=True)
class PictureView:
    """A key frame and the line over it."""

    src: str
    width: int
    height: int
    alt: str
    overlay: Markup


@dataclass(frozen=True)
class BestView:
    """The athlete's reading nearest to what is wanted, where it is another one than that shown."""

    href: str
    words: str


@dataclass(frozen=True)
class ShownReading(ReadingView):
    """A reading with its picture and curve, where there are any."""

    picture: PictureView | None = None
    plot: Markup = NOTHING
    line: str = ""  # the name of its line in the motion
    at_s: str = ""
    best: BestView | None = None
    eye: HerWord | None = None  # what the coach says of it


@dataclass(frozen=True)
class MotionView:
    """The moving picture of an attempt: where it lies, and what the page's player needs to know, as JSON safe in a page."""

    src: str
    json: Markup


@dataclass(frozen=True)
class AttemptView:
    """One section of the page."""

    anchor: str
    skill: str
    day: str
    where: str
    caution: str
    motion: MotionView | None
    readings: list[ShownReading]


@dataclass(frozen=True)
class DetailRow:
    """One line of the day-by-day table."""

    skill: str
    title: str
    cells: list[CellView]


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
    losses: list[LossRow] = field(default_factory=list)  # alone against routine, what falls apart first
    routines: list[RoutineLine] = field(default_factory=list)


class Folders(NamedTuple):
    """Where the data folder is, and how a page reaches it; `inside` puts the files themselves into the page."""

    data: Path
    link: str = ""
    inside: bool = False

    def source(self, file: str) -> str:
        """What an img, a video or a link points to for a file of the data folder; nothing where it is not there."""
        relative = Path(file)
        path = self.data / relative
        if relative.is_absolute() or ".." in relative.parts or not path.is_file():
            return ""
        if not self.inside:
            return f"{self.link}/{quote(relative.as_posix())}"
        return f"data:{MEDIA_TYPES[path.suffix]};base64,{base64.b64encode(path.read_bytes()).decode()}"


def link_to(data: Path, page_folder: Path) -> str:
    """The data folder as a page's link: relative where that can be said."""
    try:
        return quote(Path(os.path.relpath(data.resolve(), page_folder.resolve())).as_posix())
    except ValueError:  # another drive
        return data.resolve().as_uri()


def athlete_view(
    tr: Translations, store: Store, code: str, attempts: Sequence[AttemptRecord], tolerances: Tolerances, folders: Folders,
    routine: RoutineRecords | None = None,
) -> AthleteView:  # fmt: skip
    """The page of one athlete; `attempts` are all of hers in time order. The latest come first on the page. routine : the club's
    pairs of alone and routine, where anybody was filmed in one."""
    rows = [r for a in attempts for r in a.readings]
    dates = sorted({a.row.date for a in attempts}, reverse=True)
    latest = attempts[-1].row
    key = week_key(latest.date)
    cohort = latest.cohort
    count = tr.ngettext("%d attempt", "%d attempts", len(attempts)) % len(attempts)
    on = tr.ngettext("on %d day", "on %d days", len(dates)) % len(dates)
    summary = f"{cohort}. {count} {on}." if cohort else f"{count} {on}."
    older = len(dates) - MOST_DAYS
    best = with_curves(store, best_readings(attempts, tolerances))
    anchors = {slug(a.row.link) for a in attempts}
    hers = {} if folders.inside else her_verdicts(store)  # a coach's own words are not handed on with a page for the family
    eye = {key: her_word(tr, *word) for key, word in hers.items()}
    return AthleteView(
        code=code,
        summary=summary,
        week=WeekLink(key, week_words(tr, latest.date), f"weeks/{key}.html", ""),
        days=[day_words(tr, d) for d in dates[:MOST_DAYS]],
        older_days=tr.gettext("Earlier days (%d) are in the sections below.") % older if older > 0 else "",
        rows=_days_table(tr, rows, dates[:MOST_DAYS]),
        attempts=[
            _attempt(tr, store, attempt, day, tolerances, folders, best, eye)
            for attempt, day in zip(reversed(attempts), reversed(_day_words(tr, attempts)), strict=True)
        ],
        losses=loss_rows(tr, routine.athlete(code), tolerances, club=False) if routine else [],
        routines=[line for line in routine_lines(tr, store, code) if line.anchor in anchors] if routine else [],
    )


def player_of(tr: Translations, view: AthleteView) -> dict[str, object]:
    """What the page's template needs for its scripts: the player if there is something to play, and a policy that lets them run."""
    player = script("player.js") if any(attempt.motion for attempt in view.attempts) else ""
    keys = script("keys.js")
    return {
        "player": player, "player_words": translated(tr, PLAYER_WORDS), "keys_script": keys,
        "csp": content_policy(*filter(None, (player, keys))),
    }  # fmt: skip


def _days_table(tr: Translations, rows: Sequence[ReadingRow], dates: Sequence[str]) -> list[DetailRow]:
    cells: dict[tuple, list] = defaultdict(list)
    for row in rows:
        cells[row.column, row.date].append(mark_of(tr, row, ""))
    return [
        DetailRow(skill_title(c[0]), column_title(tr, c), [CellView(day_words(tr, d), cells.get((c, d), [])) for d in dates])
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


def _attempt(
    tr: Translations, store: Store, attempt: AttemptRecord, day: str, tolerances: Tolerances, folders: Folders, best: dict[COLUMN, Best],
    eye: Mapping[tuple[str, str, str], HerWord],
) -> AttemptView:  # fmt: skip
    row = attempt.row
    curves = {(c.detail, str(c.side)): c for c in store.curves(row.link)}
    pictures = {(p.detail, str(p.side)): p for p in store.pictures(row.link)}
    setting = tr.gettext("in a routine") if row.setting == Setting.ROUTINE else tr.gettext("alone")
    words = tr.gettext("Clip %(clip)s, from %(start)s to %(end)s s, %(setting)s.") if row.clip else tr.gettext("Filmed %(setting)s.")
    where = words % {
        "clip": row.clip, "start": number(row.start_s, 1), "end": number(row.end_s, 1), "setting": setting,
    }  # fmt: skip
    return AttemptView(
        anchor=slug(row.link),
        skill=skill_title(row.skill),
        day=day,
        where=where,
        caution=SKILL_WORDS[Skill(row.skill)].caution if row.skill in set(Skill) else "",
        motion=_motion(row.link, folders),
        readings=[
            _shown(
                tr,
                r,
                attempt,
                tolerances,
                curves.get((r.detail, r.side)),
                pictures.get((r.detail, r.side)),
                folders,
                best.get(r.column),
                eye.get((r.link, r.detail, r.side)),
            )
            for r in attempt.readings
        ],
    )


def _shown(
    tr: Translations, reading: ReadingRow, attempt: AttemptRecord, tolerances: Tolerances, curve: Curve | None,
    picture: Picture | None, folders: Folders, best: Best | None, eye: HerWord | None,
) -> ShownReading:  # fmt: skip
    view = reading_view(tr, reading, tolerances.get((reading.skill, reading.detail)))
    best = best if best is not None and best.reading.link != reading.link and curve is not None else None
    beside = aligned(best, attempt.row.key_start_s) if best else None
    return ShownReading(
        **{f.name: getattr(view, f.name) for f in fields(ReadingView)},
        picture=_picture(tr, reading, view, picture, folders) if picture else None,
        plot=_plot(tr, reading, view, attempt, tolerances, curve, beside) if curve is not None else NOTHING,
        line=line_key(reading.detail, reading.side),
        at_s=f"{reading.at_s:.3f}" if math.isfinite(reading.at_s) else "",
        best=_best(tr, best.reading) if best and beside is not None else None,
        eye=eye,
    )


def _best(tr: Translations, best: ReadingRow) -> BestView:
    words = {"value": plus_minus(best.value, best.low, best.high, best.unit), "day": day_words(tr, best.date)}
    return BestView(f"#{best.anchor}", tr.gettext("nearest to what is wanted: %(value)s, %(day)s") % words)


def _motion(link: str, folders: Folders) -> MotionView | None:
    name = f"{FOLDER}/{slug(link)}.mp4"
    motion, source = read_motion((folders.data / name).with_suffix(".json")), folders.source(name)
    if motion is None or not source:
        return None
    return MotionView(source, htmlsafe_json_dumps(asdict(motion), separators=(",", ":")))


def _plot(
    tr: Translations,
    reading: ReadingRow,
    view: ReadingView,
    attempt: AttemptRecord,
    tolerances: Tolerances,
    curve: Curve,
    beside: Curve | None,
) -> Markup:
    if len(curve.t) < 2 or not np.isfinite(curve.value).any():
        return Markup("")
    row = attempt.row
    window = tr.gettext(SKILL_WORDS[Skill(row.skill)].key_window) if row.skill in set(Skill) else tr.gettext("key part")
    return curve_plot(
        CurveData(curve.t, curve.value, curve.low, curve.high), curve.unit, tolerances.get((reading.skill, reading.detail)),
        window=(row.key_start_s, row.key_end_s), window_words=window, at_s=reading.at_s, value=reading.value,
        verdict=VERDICTS[reading.verdict].id, seconds_words=tr.gettext("s"),
        label=tr.gettext("%(detail)s over the attempt, from %(start)s to %(end)s s") % {
            "detail": view.title, "start": number(float(curve.t[0]), 1), "end": number(float(curve.t[-1]), 1),
        },
        beside=CurveData(beside.t, beside.value, beside.low, beside.high) if beside is not None else None,
    )  # fmt: skip


def _picture(tr: Translations, reading: ReadingRow, view: ReadingView, picture: Picture, folders: Folders) -> PictureView | None:
    source = folders.source(picture.file)
    if not source:
        return None
    alt = tr.gettext("%(athlete)s, %(detail)s: the moment read, %(at)s s into the clip; all but the athlete's body blurred") % {
        "athlete": reading.athlete, "detail": view.title, "at": number(reading.at_s, 2) if math.isfinite(reading.at_s) else "?",
    }  # fmt: skip
    said = short_value(reading) or "?"
    lines = overlay(picture.points, picture.width, picture.height, view.v.id, said, chord=reading.detail == "line_deviation")
    return PictureView(source, picture.width, picture.height, alt, lines)
