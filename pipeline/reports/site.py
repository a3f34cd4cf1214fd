"""The whole site from the store: a page a week, a page an athlete, readings.csv and clips.csv. Decodes no video."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from pipeline import __version__
from pipeline.errors import MatsideError
from pipeline.practice.focus import Focus, choose_focus
from pipeline.practice.pins import read_pins
from pipeline.practice.settings import PracticeSettings, kept_settings
from pipeline.reports.athlete_view import athlete_view, scripts_of
from pipeline.reports.attempt_view import Folders, link_to
from pipeline.reports.beside import beside_links
from pipeline.reports.eye_page import write_eye
from pipeline.reports.files import write_changed
from pipeline.reports.focus_view import focus_table, focus_views
from pipeline.reports.language import Translations, day_words, translated, translations, week_words
from pipeline.reports.pages import content_policy, environment, script, stylesheet
from pipeline.reports.places import LATEST, UNASSIGNED, athlete_file, places
from pipeline.reports.practice_page import PAGE, cohort_file, practice_sheets, write_practice
from pipeline.reports.reading_view import VERDICTS
from pipeline.reports.records import Records, read_records
from pipeline.reports.routine_page import write_routine
from pipeline.reports.routine_view import RoutineRecords, read_pairs
from pipeline.reports.tables import clips_csv, readings_csv
from pipeline.reports.week_view import LATEST_WEEKS, WeekLink, latest_week, left_out, problems_of, week_view
from pipeline.reports.words import CAUTION, HOW_SURE, WEEK_WORDS
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import INVENTED, Store

OURS = '<meta name="generator" content="Matside">'  # only files that carry this are ever removed


def write_site(
    store: Store, tolerances: Tolerances, out: Path, data: Path, *, title: str = "Matside", note: str = "", language: str = "en",
    trends: bool = False, today: date | None = None, lapsed: Mapping[str, str] | None = None,
) -> Path:  # fmt: skip
    """Write all pages and tables below `out` and return the index's path.

    data : the data folder, for the pictures. note : a line shown on every page (that data are invented, for instance).
    trends : link to trends/ and cohorts/, where those pages are written too. today : the day on which a coach's pins must hold.
    lapsed : athletes who are hidden in `store` as consent ran out, and its last day; the front page says so.
    Pages that no longer have an athlete or a week are removed, if Matside wrote them; nothing else is touched.
    Raises MatsideError where `out` cannot be written.
    """
    try:
        return _Site(store, tolerances, out, data, title, note, translations(language), trends, today, lapsed or {}).write()
    except OSError as error:
        raise MatsideError(
            f"{error.filename or out}: the pages cannot be written ({error.strerror}). Choose another folder or make room."
        ) from error


def write_sheet(
    store: Store, tolerances: Tolerances, out: Path, settings: PracticeSettings, *, cohort: str = "", title: str = "Matside",
    language: str = "en", today: date | None = None,
) -> Path:  # fmt: skip
    """Write the practice sheet alone: practice.html, or practice-COHORT.html for one cohort. Raises MatsideError."""
    tr = translations(language)
    env = environment(tr)
    env.globals.update(common(tr, tolerances, title, store.fact(INVENTED)), trends=False)
    focuses = choose_focus(store.readings(), tolerances, pins=read_pins(store), today=today)
    sheets = practice_sheets(store.roster(), store.attempts(), focuses, settings, cohort=cohort, today=today)
    path = out / (cohort_file(cohort) if cohort else PAGE)
    try:
        return write_practice(sheets, tolerances, path, env, tr, latest=store.latest_date())
    except OSError as error:
        raise MatsideError(f"{path}: the page cannot be written ({error.strerror}). Choose another folder or make room.") from error


class _Site:
    def __init__(self, store: Store, tolerances: Tolerances, out: Path, data: Path, title: str, note: str, tr: Translations,
                 trends: bool, today: date | None, lapsed: Mapping[str, str]) -> None:  # fmt: skip
        self.store, self.tolerances, self.out, self.data, self.tr = store, tolerances, out, data, tr
        self.env = environment(tr)
        self.env.globals.update(common(tr, tolerances, title, note or store.fact(INVENTED)), trends=trends)
        self.today, self.lapsed = today, lapsed
        self.routine: RoutineRecords | None = None
        self.pages: dict[str, str] = {}  # the file of each attempt's page, by its link

    def write(self) -> Path:
        records = read_records(self.store, self.tolerances)
        self.pages = places(records.athletes)
        focuses = choose_focus(records.scored, self.tolerances, pins=read_pins(self.store), today=self.today)
        self._practice(focuses)
        self._beside(records)
        write_changed(self.out / "readings.csv", readings_csv(records.scored))
        write_changed(self.out / "clips.csv", clips_csv(records.clips))
        self._latest(records)
        written = {*self._athletes(records, focuses), *self._weeks(records, focuses)}
        _tidy(self.out / "athletes", written)
        _tidy(self.out / "weeks", written)
        return self.out / "index.html"

    def _practice(self, focuses: dict[tuple[str, str], Focus]) -> None:
        """The practice sheet of every cohort, and anew the files of single cohorts that a coach has asked for; of none without athletes."""
        attempts, latest = self.store.attempts(), self.store.latest_date()
        sheets = practice_sheets(self.store.roster(), attempts, focuses, kept_settings(self.store), today=self.today)
        write_practice(sheets, self.tolerances, self.out / PAGE, self.env, self.tr, latest=latest)
        own = {cohort_file(sheet.cohort): sheet for sheet in sheets if sheet.cohort}
        for old in self.out.glob(f"{Path(PAGE).stem}-*.html"):
            if OURS in old.read_text(encoding="utf-8", errors="replace")[:2000]:
                write_practice([own[old.name]] if old.name in own else [], self.tolerances, old, self.env, self.tr, latest=latest)
        self.env.globals["practice"] = PAGE if sheets else ""

    def _beside(self, records: Records) -> None:
        """The pages beside the weeks: the coach's own eye, alone against routine, and links to them and to the score sheets."""
        self.routine = read_pairs(self.store, self.tolerances)
        eye = write_eye(self.env, self.tr, self.store, records.scored, self.tolerances, self.out, self.pages)
        routine = write_routine(self.env, self.tr, self.store, self.tolerances, self.routine, self.out)
        self.env.globals["beside"] = beside_links(self.tr, self.out, eye=eye, routine=routine)

    def _latest(self, records: Records) -> None:
        """Everybody's latest in one table, where more than a week is on record."""
        week = latest_week(records)
        there = bool(week.attempts) and len(records.weeks) > 1
        self.env.globals["latest_page"] = LATEST if there else ""
        if not there:
            (self.out / LATEST).unlink(missing_ok=True)
            return
        lead = self.tr.gettext("Every athlete's newest day of each skill, of the last %d weeks.")
        view = week_view(self.tr, week, "", self.pages, self.tolerances)
        page = self.env.get_template("latest.html").render(view=view, lead=lead % LATEST_WEEKS, root="", **self._filters())
        write_changed(self.out / LATEST, page)

    def _weeks(self, records: Records, focuses: dict[tuple[str, str], Focus]) -> list[Path]:
        links = [
            WeekLink(week.key, week_words(self.tr, week.date), f"weeks/{week.key}.html", _attempts(self.tr, len(week.attempts)))
            for week in records.weeks.values()
        ]
        if not links:
            write_changed(self.out / "index.html", self.env.get_template("empty.html").render(root=""))
            return []
        told = {week.key for week in records.weeks.values() if week.attempts or not all(left_out(clip.reason) for clip in week.clips)}
        latest = next((link for link in links if link.key in told - {"undated"}), links[0])
        problems = {link.key: problems_of(self.tr, list(records.weeks.values()), link.key, latest=link is latest) for link in links}
        template = self.env.get_template("week.html")
        pages = [(link, self.out / link.href, "../") for link in links] + [(latest, self.out / "index.html", "")]
        for link, path, root in pages:
            at = links.index(link)
            text = template.render(
                week=week_view(self.tr, records.weeks[link.key], root, self.pages, self.tolerances), weeks=links, root=root, problems=problems[link.key], lapsed=_lapsed(self.tr, self.lapsed) if not root else "",
                waiting_page=UNASSIGNED if (self.out / UNASSIGNED).is_file() else "",
                focus=focus_table(self.tr, focuses, self.tolerances) if not root else None,
                later=links[at - 1] if at > 0 else None, earlier=links[at + 1] if at + 1 < len(links) else None,
                **self._filters(),
            )  # fmt: skip
            write_changed(path, text)
        return [path for _link, path, _root in pages]

    def _athletes(self, records: Records, focuses: dict[tuple[str, str], Focus]) -> list[Path]:
        folder = self.out / "athletes"
        folders = Folders(self.data, link_to(self.data, folder))
        near = [{"code": code, "file": athlete_file(code)} for code in records.athletes]
        template = self.env.get_template("athlete.html")
        written = []
        for i, (code, attempts) in enumerate(records.athletes.items()):
            focus = focus_views(self.tr, [f for (who, _), f in focuses.items() if who == code], self.tolerances)
            first = next((one.href for one in focus if one.certain and one.href), "")
            view = athlete_view(self.tr, self.store, code, attempts, self.tolerances, folders, self.routine, first)
            text = template.render(
                athlete=view, page=near[i]["file"], root="../", before=near[i - 1] if i else None, after=near[i + 1] if i + 1 < len(near) else None,
                shared=False, focus=focus,
                **scripts_of(self.tr, view.attempts, forward=bool(view.months)),
            )  # fmt: skip
            write_changed(folder / near[i]["file"], text)
            written.append(folder / near[i]["file"])
            for month in view.months:
                page = self.env.get_template("month.html").render(
                    code=code, page=near[i]["file"], month=month, root="../", shared=False, **scripts_of(self.tr, month.attempts)
                )
                write_changed(folder / month.file, page)
                written.append(folder / month.file)
        return written

    def _filters(self) -> dict[str, object]:
        """The week's scripts and words, and a policy that lets them run."""
        verdicts = [[view.id, self.tr.gettext(view.word)] for view in VERDICTS.values()]
        scripts = script("week.js"), script("land.js"), script("keys.js")
        return {
            "week_script": scripts[0], "land_script": scripts[1], "keys_script": scripts[2], "csp": content_policy(*scripts),
            "week_words": {**translated(self.tr, WEEK_WORDS), "verdicts": verdicts},
        }  # fmt: skip


def common(tr: Translations, tolerances: Tolerances, title: str, note: str) -> dict[str, object]:
    """What every page's template needs."""
    source = f"{tolerances.name} ({tolerances.source})"
    return {
        "css": stylesheet(), "csp": content_policy(), "site_title": title, "note": note, "caution": CAUTION, "how_sure": HOW_SURE,
        "verdicts": list(VERDICTS.values()), "tolerance_note": tr.gettext("Tolerances: %s.") % source,
        "made": tr.gettext("Matside %(version)s. Tolerances: %(source)s.") % {"version": __version__, "source": source},
    }  # fmt: skip


def _lapsed(tr: Translations, lapsed: Mapping[str, str]) -> str:
    """Whose results are kept but not shown."""
    who = ", ".join(tr.gettext("%(code)s (until %(day)s)") % {"code": code, "day": day_words(tr, day)} for code, day in lapsed.items())
    return (
        tr.gettext("Not shown, as consent has run out: %s. Renew it in the roster and run again, or remove all with matside forget.") % who
        if who
        else ""
    )


def _attempts(tr: Translations, count: int) -> str:
    return tr.ngettext("%d attempt", "%d attempts", count) % count


def _tidy(folder: Path, written: set[Path]) -> None:
    """Remove pages of ours that this run did not write."""
    for path in folder.glob("*.html"):
        if path not in written and OURS in path.read_text(encoding="utf-8", errors="replace")[:2000]:
            path.unlink()
