"""One attempt as a page shows it: its readings with pictures and curves, and the athlete's best beside them."""

from __future__ import annotations

import base64
import math
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote

import numpy as np
from jinja2.utils import htmlsafe_json_dumps
from markupsafe import Markup

from pipeline.attempts.kinds import BACK_BENT, EITHER_WAY
from pipeline.attempts.routine import Intent, Limb, Passage
from pipeline.measures.reading import Curve
from pipeline.reports.best import Best, aligned
from pipeline.reports.eye_view import HerWord
from pipeline.reports.files import slug
from pipeline.reports.language import Translations, day_words, drawn_in_units
from pipeline.reports.motion import FOLDER, line_key, read_motion
from pipeline.reports.numbers import number
from pipeline.reports.overlay import drawn_straighter, overlay
from pipeline.reports.phase import WINDOW
from pipeline.reports.plots import CurveData, curve_plot
from pipeline.reports.reading_view import VERDICTS, ReadingView, VerdictView, full_value, is_further, reading_view, short_value, skill_title
from pipeline.reports.records import COLUMN, AttemptRecord, ReadingRow
from pipeline.reports.words import INTENT_WORDS, SKILL_WORDS
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Picture, Store
from pipeline.vocabulary import ARMS_PER_S, DEGREES, Setting, Skill

NOTHING = Markup("")
MEDIA_TYPES = {".jpg": "image/jpeg", ".mp4": "video/mp4"}


@dataclass(frozen=True)
class PictureView:
    """A key frame and the line over it."""

    src: str
    width: int
    height: int
    alt: str
    overlay: Markup
    note: str = ""  # where the line shows something else than the number


@dataclass(frozen=True)
class BestView:
    """The athlete's reading nearest to what is wanted, where it is another one than that shown."""

    href: str
    words: str
    verdict: str
    at_s: str
    picture: PictureView | None
    mate: str  # the name of its moving picture on the page, or nothing


@dataclass(frozen=True)
class ShownReading(ReadingView):
    """A reading with its picture and curve, where there are any."""

    picture: PictureView | None = None
    plot: Markup = NOTHING
    line: str = ""  # the name of its line in the motion
    at_s: str = ""
    best: BestView | None = None
    eye: HerWord | None = None  # what the coach says of it
    passage: str = ""  # how the routine wants this movement


@dataclass(frozen=True)
class MotionView:
    """A moving picture: its name on the page, where it lies, its key window, and what the page's player needs to know as safe JSON."""

    name: str
    src: str
    json: Markup
    window: WINDOW


@dataclass(frozen=True)
class AttemptView:
    """One section of the page. `further` are the details beyond the body lines, folded away; `further_count` says how they went."""

    anchor: str
    skill: str
    day: str
    where: str
    caution: str
    motion: MotionView | None
    readings: list[ShownReading]
    between: str = ""  # that it may be another skill than it was taken for
    further: list[ShownReading] = field(default_factory=list)
    further_count: list[tuple[VerdictView, int]] = field(default_factory=list)
    latest: bool = True  # of the athlete's latest day


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


class Drawing:
    """Draws one athlete's attempts, whichever page they stand on; what is used more than once is read once."""

    def __init__(
        self, tr: Translations, store: Store, tolerances: Tolerances, folders: Folders, best: Mapping[COLUMN, Best],
        eye: Mapping[tuple[str, str, str], HerWord], pages: Mapping[str, str], passages: Mapping[str, Sequence[Passage]],
    ) -> None:  # fmt: skip
        """pages : the file of the page on which each attempt stands, by its link. passages : what a routine asks of it, by its link."""
        self.tr, self.store, self.tolerances, self.folders, self.best, self.eye = tr, store, tolerances, folders, best, eye
        self.pages, self.passages = pages, passages
        self._pictures: dict[str, dict[tuple[str, str], Picture]] = {}
        self._motions: dict[str, MotionView | None] = {}
        self._bests: dict[tuple, BestView] = {}
        self._windows = {one.reading.link: one.window for one in best.values()}

    def attempt(self, record: AttemptRecord, day: str) -> AttemptView:
        """One section."""
        tr, row = self.tr, record.row
        curves = {(c.detail, str(c.side)): c for c in self.store.curves(row.link)}
        setting = tr.gettext("in a routine") if row.setting == Setting.ROUTINE else tr.gettext("alone")
        words = tr.gettext("Clip %(clip)s, from %(start)s to %(end)s s, %(setting)s.") if row.clip else tr.gettext("Filmed %(setting)s.")
        self._windows[row.link] = row.key_start_s, row.key_end_s
        shown = [(r, self._shown(r, record, curves.get((r.detail, r.side)))) for r in record.readings]
        further = [view for r, view in shown if is_further(r.skill, r.detail)]
        counts = [(v, sum(view.v.id == v.id for view in further)) for v in VERDICTS.values()]
        return AttemptView(
            anchor=slug(row.link), skill=skill_title(row.skill), day=day,
            where=words % {"clip": row.clip, "start": number(row.start_s, 1), "end": number(row.end_s, 1), "setting": setting},
            caution=SKILL_WORDS[Skill(row.skill)].caution if row.skill in set(Skill) else "",
            motion=self._motion(row.link),
            between="" if self.folders.inside else between_kinds(tr, record),
            readings=[view for r, view in shown if not is_further(r.skill, r.detail)],
            further=further, further_count=[(v, n) for v, n in counts if n],
        )  # fmt: skip

    def mates(self, views: Iterable[AttemptView]) -> list[MotionView]:
        """The moving pictures that the best attempts of these sections need and that stand in none of them."""
        views = list(views)
        own = {view.motion.name for view in views if view.motion}
        wanted = {r.best.mate for view in views for r in (*view.readings, *view.further) if r.best and r.best.mate} - own
        return sorted((m for m in self._motions.values() if m is not None and m.name in wanted), key=lambda m: m.name)

    def _shown(self, reading: ReadingRow, record: AttemptRecord, curve: Curve | None) -> ShownReading:
        view = reading_view(self.tr, reading, self.tolerances.get((reading.skill, reading.detail)))
        best = self.best.get(reading.column)
        best = best if best is not None and best.reading.link != reading.link else None
        beside = aligned(best, (record.row.key_start_s, record.row.key_end_s)) if best and curve is not None else None
        picture = self._picture(reading, view)
        return ShownReading(
            **{f.name: getattr(view, f.name) for f in fields(ReadingView)},
            picture=picture,
            plot=self._plot(reading, view, record, curve, beside) if curve is not None else NOTHING,
            line=line_key(reading.detail, reading.side),
            at_s=_seconds(reading.at_s),
            best=self._best_once(best, pictured=picture is not None) if best and (beside is not None or picture is not None) else None,
            eye=self.eye.get((reading.link, reading.detail, reading.side)),
            passage=self._passage(reading),
        )

    def _best_once(self, best: Best, *, pictured: bool) -> BestView:
        """The same beside every attempt, so it is drawn once."""
        key = (best.reading.link, best.reading.column, pictured)
        if key not in self._bests:
            self._bests[key] = self._best(best, pictured=pictured)
        return self._bests[key]

    def _best(self, best: Best, *, pictured: bool) -> BestView:
        tr, reading = self.tr, best.reading
        words = {"value": full_value(tr, reading), "day": day_words(tr, reading.date)}
        view = reading_view(tr, reading, self.tolerances.get((reading.skill, reading.detail)))
        motion = self._motion(reading.link) if pictured else None
        return BestView(
            f"{self.pages.get(reading.link, '')}#{reading.anchor}",
            tr.gettext("nearest to what is wanted: %(value)s, %(day)s") % words,
            view.v.id, _seconds(reading.at_s),
            self._picture(reading, view) if pictured and not self.folders.inside else None,  # a file by itself holds each picture once
            motion.name if motion is not None else "",
        )  # fmt: skip

    def _motion(self, link: str) -> MotionView | None:
        if link not in self._motions:
            name = f"{FOLDER}/{slug(link)}.mp4"
            motion, source = read_motion((self.folders.data / name).with_suffix(".json")), self.folders.source(name)
            there = motion is not None and bool(source)
            text = htmlsafe_json_dumps(asdict(motion), separators=(",", ":")) if motion is not None and there else NOTHING
            self._motions[link] = MotionView(slug(link), source, text, self._windows[link]) if there else None
        return self._motions[link]

    def _passage(self, reading: ReadingRow) -> str:
        """What the routine asks of the arms here, and what the athlete's own other goes were like is left to the curve and the trend."""
        if reading.unit != ARMS_PER_S:
            return ""
        asked = [p for p in self.passages.get(reading.link, ()) if p.limb is Limb.ARMS]
        return " ".join(f"{p.name}: {self.tr.gettext(INTENT_WORDS[str(Intent(p.intent))])}" for p in asked)

    def _picture(self, reading: ReadingRow, view: ReadingView) -> PictureView | None:
        if reading.link not in self._pictures:
            self._pictures[reading.link] = {(p.detail, str(p.side)): p for p in self.store.pictures(reading.link)}
        picture = self._pictures[reading.link].get((reading.detail, reading.side))
        source = self.folders.source(picture.file) if picture is not None else ""
        if picture is None or not source:
            return None
        alt = self.tr.gettext("%(athlete)s, %(detail)s: the moment read, %(at)s s into the clip; all but the athlete's body blurred") % {
            "athlete": reading.athlete, "detail": view.title, "at": number(reading.at_s, 2) if math.isfinite(reading.at_s) else "?",
        }  # fmt: skip
        said = short_value(self.tr, reading) or "?"
        lines = overlay(
            picture.points, picture.width, picture.height, view.v.id, said, chord=reading.detail == "line_deviation", angle=reading.unit == DEGREES
        )  # fmt: skip
        drawn = drawn_straighter(picture.points, reading.high) if reading.detail == "knee_angle" else None
        note = "" if drawn is None else self.tr.gettext(
            "Drawn, this knee looks like %s°: it also bends towards the phone or away from it, and the number counts that."
        ) % number(drawn, 0)  # fmt: skip
        return PictureView(source, picture.width, picture.height, alt, lines, note)

    def _plot(self, reading: ReadingRow, view: ReadingView, record: AttemptRecord, curve: Curve, beside: Curve | None) -> Markup:
        if len(curve.t) < 2 or not np.isfinite(curve.value).any():
            return NOTHING
        tr, row = self.tr, record.row
        window = tr.gettext(SKILL_WORDS[Skill(row.skill)].key_window) if row.skill in set(Skill) else tr.gettext("key part")
        drawn = curve_plot(
            CurveData(curve.t, curve.value, curve.low, curve.high), curve.unit, self.tolerances.get((reading.skill, reading.detail)),
            window=(row.key_start_s, row.key_end_s), window_words=window, at_s=reading.at_s, value=reading.value,
            verdict=VERDICTS[reading.verdict].id, seconds_words=tr.gettext("s"),
            label=tr.gettext("%(detail)s over the attempt, from %(start)s to %(end)s s") % {
                "detail": view.title, "start": number(float(curve.t[0]), 1), "end": number(float(curve.t[-1]), 1),
            },
            beside=CurveData(beside.t, beside.value, beside.low, beside.high) if beside is not None else None,
        )  # fmt: skip
        return drawn_in_units(tr, drawn)


def between_kinds(tr: Translations, record: AttemptRecord) -> str:
    """That a lunge may be of the other kind, straight or loaded, where its back knee is near the limit; nothing for any other attempt."""
    knee = next((r.value for r in record.readings if r.skill in (Skill.LUNGE, Skill.LOADED_LUNGE) and r.detail == "knee_angle"), math.nan)
    if not abs(knee - BACK_BENT) <= EITHER_WAY:
        return ""
    return tr.gettext("Straight or loaded? The back knee lies between the two: column skill of clips.csv can say which was meant.")


def _seconds(value: float) -> str:
    return f"{value:.3f}" if math.isfinite(value) else ""
