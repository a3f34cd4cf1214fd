"""When pages are drawn anew: after anything they show has changed, and only then."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pipeline import __version__
from pipeline.batch.pool import Beat, Limits, Outcome, Tell, work
from pipeline.errors import MatsideError
from pipeline.files import write_whole
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store

WORTH_A_PROCESS = 400  # attempts, from which on a second process is worth its start
LONGEST_S, MOST_MB = 6 * 3600.0, 8000  # of drawing; a bound for what hangs, far beyond any club
STAMP = "pages.drawn"
LANGUAGE = "language"  # the fact that says in which language the pages are drawn


def page_language(store: Store, asked: str = "") -> str:
    """The language of the pages: the one asked for, which is kept from then on, else the one kept, else English.

    Raises MatsideError where the pages do not speak it.
    """
    from pipeline.reports.language import ENGLISH, languages, translations

    if asked:
        translations(asked)
        if asked != store.fact(LANGUAGE):
            store.set_fact(LANGUAGE, asked)
        return asked
    kept = store.fact(LANGUAGE)
    return kept if kept in languages() else ENGLISH


def write_pages(store: Store, tolerances: Tolerances, out: Path, *, changed: bool = False, language: str = "") -> tuple[Path, bool]:
    """Draw the pages unless they show exactly this already. Returns the index page and whether anything was drawn.

    language : see `page_language`.
    """
    language = page_language(store, language)
    stamp = _stamp(store, tolerances, language, out)
    marker = out / "data" / STAMP
    index = out / "index.html"
    if not changed and index.is_file() and marker.is_file() and marker.read_text("utf-8", "replace") == stamp:
        return index, False
    marker.unlink(missing_ok=True)  # a crash midway must not leave half-new pages that look done
    lapsed = store.lapsed(date.today().isoformat())  # kept until forgotten or too old, but shown no more
    with store.without(lapsed):
        index = _draw(store, tolerances, out, language, lapsed)
    write_whole(marker, stamp)
    return index, True


def _draw(store: Store, tolerances: Tolerances, out: Path, language: str, lapsed: dict[str, str]) -> Path:
    """The weeks and athletes, and what can be said over time and between cohorts; returns the index."""
    from pipeline.reports.cohort_page import FOLDER as COHORTS
    from pipeline.reports.site import write_site
    from pipeline.reports.trend_page import FOLDER as TRENDS

    for folder in (TRENDS, COHORTS):  # nobody who is forgotten stays on an old page
        for old in [*(out / folder).glob("*.html"), *(out / folder).glob("*.csv")]:
            old.unlink(missing_ok=True)
    dated = bool(store.latest_date()) and any(store.athletes()["athlete"])
    job = TrendJob(store.path, tolerances, out, language, tuple(lapsed))
    together = len(store.attempts()) >= WORTH_A_PROCESS
    with _beside(job) if dated and together else nullcontext():
        index = write_site(store, tolerances, out, out / "data", trends=dated, language=language, lapsed=lapsed)
    if dated and not together:
        _trends(store, job)
    return index


@dataclass(frozen=True)
class TrendJob:
    """The pages over time and between cohorts, to be drawn by this process or another."""

    store: Path
    tolerances: Tolerances
    out: Path
    language: str
    lapsed: tuple[str, ...]  # athletes who are not shown


def _trends(store: Store, job: TrendJob) -> None:
    from pipeline.reports.cohort_page import write_cohorts
    from pipeline.reports.trend_page import write_athletes

    with suppress(MatsideError):  # too little to compare yet; `matside compare` says so when asked
        write_cohorts(store, job.tolerances, job.out, language=job.language)
    # after the cohorts, to which it links where they are
    write_athletes(store, job.tolerances, job.out, language=job.language, athlete_pages=True)


def trends_task(job: TrendJob, tell: Tell) -> None:
    """The same in a process of its own."""
    with Store(job.store) as store, store.without(job.lapsed):
        _trends(store, job)


@contextmanager
def _beside(job: TrendJob) -> Iterator[None]:
    """Draw them in another process meanwhile. What goes wrong there is raised here."""
    outcomes: list[Outcome | Beat] = []
    limits = Limits(limit_s=LONGEST_S, silence_s=LONGEST_S, memory_mb=MOST_MB, retries=0)
    drawing = threading.Thread(target=lambda: outcomes.extend(work([job], trends_task, workers=1, limits=limits)))
    drawing.start()
    try:
        yield
    finally:
        drawing.join()
    for outcome in outcomes:
        if isinstance(outcome, Outcome) and outcome.fault:
            raise MatsideError(f"{job.out}: the pages over time cannot be drawn ({outcome.fault}). {outcome.details}".rstrip())
    if not outcomes:
        raise MatsideError(f"{job.out}: the pages over time could not be drawn: their process did not start.")


def _stamp(store: Store, tolerances: Tolerances, language: str, out: Path) -> str:
    """Changes whenever the pages would."""
    from pipeline.practice.pins import read_pins
    from pipeline.practice.settings import kept_settings
    from pipeline.reports.points_files import sheets
    from pipeline.reports.routine_steps import KEPT

    digest = hashlib.sha256(
        f"{__version__}\n{language}\n{tolerances.name}\n{tolerances.source}\n{sorted(tolerances.entries.items())}\n".encode()
    )
    for clip, known in sorted(store.known().items()):
        digest.update(f"{clip}\0{known}\n".encode("utf-8", "backslashreplace"))
    holding = [pin for pin in read_pins(store) if pin.holds(date.today())]  # a pin that runs out changes the pages
    roster = store.roster()
    lapsed = int((roster["consent_until"] < date.today().isoformat()).sum())  # so does consent that runs out
    own_routines = out / "data" / KEPT
    digest.update(own_routines.read_bytes() if own_routines.is_file() else b"")
    shown = (holding, roster.to_csv(index=False), lapsed, kept_settings(store), store.eye().to_csv(index=False), sheets(out))
    digest.update(f"{shown}\n".encode("utf-8", "backslashreplace"))
    for note in store.notes().itertuples(index=False):
        digest.update(f"{tuple(note)}\n".encode("utf-8", "backslashreplace"))
    return digest.hexdigest()
