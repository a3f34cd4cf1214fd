"""The night: a folder of clips in, every clip accounted for in the store, pages out. Stops at any instant and goes on from there."""

from __future__ import annotations

import logging
import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence, Set
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from pipeline.batch.disk import disk_told, need_room, need_writable
from pipeline.batch.forget import forget_old, remember_folder
from pipeline.batch.leftovers import remove_parts
from pipeline.batch.lock import only_run
from pipeline.batch.pages import page_language
from pipeline.batch.plan import Plan, make_plan
from pipeline.batch.pool import Beat, Outcome, work
from pipeline.batch.process import Task, process_clip
from pipeline.batch.progress import Reporter, Silent, clip_line
from pipeline.batch.unassigned import show_unassigned
from pipeline.clips.clip_list import ask
from pipeline.clips.content import ContentHashes
from pipeline.clips.intake import FAILED, NEEDS_YOU, READY, SKIPPED, Clip, take_in
from pipeline.errors import MatsideError, one_line, said_of
from pipeline.settings import Settings
from pipeline.store import ClipResult, Store

log = logging.getLogger(__name__)

Engine = Callable[..., Iterator[Outcome | Beat]]


@dataclass
class Night:
    """What a run did, for the summary and the exit code."""

    found: int = 0  # clips in the folder
    unchanged: int = 0
    statuses: Counter[str] = field(default_factory=Counter)  # of every clip in the folder
    notices: list[str] = field(default_factory=list)
    measured: int = 0  # clips worked on, whatever came of it
    forgotten: int = 0  # clips removed by age
    asked: Path | None = None  # the clips.csv with rows to fill in
    unassigned: Path | None = None  # the page that shows the clips which need the coach
    index: Path | None = None  # the page to open
    redrawn: bool = False

    @property
    def needs_somebody(self) -> bool:
        return bool(self.statuses[NEEDS_YOU] or self.statuses[FAILED])


def run_folder(
    folder: Path, out: Path, *, roster: Path | None = None, settings: Settings | None = None, tolerances: Sequence[str | Path] = (),
    workers: int | None = None, today: date | None = None, wait: bool = False, again: bool = False, tell: Reporter | None = None,
    engine: Engine = work, language: str = "",
) -> Night:  # fmt: skip
    """Measure what is new in `folder` and write the pages to `out`.

    `again` measures what is done already once more; `wait` waits for another run in the same `out` instead of raising;
    `language` is that of the pages, from now on.
    Raises MatsideError where the night cannot go on at all: no roster, wrong settings or tolerances, no room on the disk.
    """
    from pipeline.batch.pages import write_pages
    from pipeline.batch.profile import keep_profile, load_profile

    tell = tell or Silent()
    settings = settings or Settings()
    profile = load_profile(tolerances, out)  # wrong tolerances should not cost a night before they are told
    data = out / "data"
    with only_run(data, wait=wait), disk_told(out):
        need_writable(out)
        need_room(data)
        today = today or date.today()  # not before: whoever waits for another run may wait past midnight
        with Store(data / "matside.sqlite") as store:
            page_language(store, language)
            keep_profile(tolerances, out)
            old = forget_old(store, out, settings.night.keep_days, today)
            with _log_file(data / "run.log"):
                night = _night(folder, out, store, roster, settings, workers, today, again, tell, engine)
                night.forgotten = len(old.clips)
                night.index, night.redrawn = write_pages(store, profile, out, changed=bool(night.measured or old.clips))
    return night


def _night(
    folder: Path, out: Path, store: Store, roster: Path | None, settings: Settings, workers: int | None, today: date, again: bool,
    tell: Reporter, engine: Engine,
) -> Night:  # fmt: skip
    """Everything between the lock and the pages."""
    data = out / "data"
    remember_folder(store, folder)
    hashes = ContentHashes(data / "contents.json")
    intake = take_in(folder, out, roster_path=roster, today=today, hashes=hashes)
    hashes.save()
    store.set_roster([(a.athlete, a.cohort, str(a.lead_side), a.consent_until.isoformat()) for a in intake.roster.athletes.values()])
    clips = _young(intake.clips, settings.night.keep_days, today)
    night = Night(found=len(clips), notices=list(intake.notices))
    for notice in intake.notices:
        log.warning(notice)
    plan = make_plan(clips, store.known(), landmarks=settings.landmarks, model=_model_hash(settings), data=data, again=again)
    night.unchanged = plan.unchanged
    for notice in (*_kept_words(plan.kept), *_refused_words(plan.rows)):
        night.notices.append(notice)
        log.warning(notice)
    for before, now in plan.renamed:
        log.info("%s is now called %s", before, now)
        store.rename(before, now)
    for row in plan.rows:
        log.info(clip_line(row))
    store.put_all(plan.rows)

    limits = settings.night.limits()
    crew = workers or settings.night.workers or cores()

    def work_on(tasks: Sequence[Any], function: Callable[..., Any]) -> Iterator[Outcome | Beat]:
        return engine(tasks, function, workers=crew, limits=limits, log_to=data / "workers.log")

    night.measured = _measure(plan, store, data, tell, work_on)
    night.statuses = _statuses(clips, store, {clip.name for clip in plan.kept})
    night.asked = ask(intake.clip_list, intake.gaps) or (intake.clip_list.path if night.statuses[NEEDS_YOU] else None)
    night.unassigned = show_unassigned(
        clips,
        out,
        data,
        pictures=settings.night.contact_sheets,
        work=work_on,
        list_name="/".join((night.asked or folder.resolve() / "clips.csv").parts[-2:]),
        language=page_language(store),
    )
    return night


def _young(clips: Sequence[Clip], keep_days: int, today: date) -> list[Clip]:
    """Clips older than results are kept are not measured anew."""
    if not keep_days:
        return list(clips)
    oldest = today - timedelta(days=keep_days)
    reason = f"older than the {keep_days} days that results are kept"
    return [replace(c, status=SKIPPED, reason=reason, content="") if c.status == READY and c.date and c.date < oldest else c for c in clips]


def _measure(plan: Plan, store: Store, data: Path, tell: Reporter, work_on: Callable[..., Iterator[Outcome | Beat]]) -> int:
    """Measure what is to be measured, and put each result away as it comes. Returns how many clips it was."""
    if not plan.tasks:
        return 0
    _opencv_loads()
    remove_parts(data.parent)
    tell.start(len(plan.tasks), sum(plan.sizes.values()))
    shares: dict[str, float] = {}
    done, number = 0.0, 0
    longest_first = sorted(plan.tasks, key=lambda task: -plan.sizes[task.clip])  # or one worker is left alone with a long one
    events = work_on(longest_first, process_clip)
    for event in events:
        size = plan.sizes[event.task.clip]
        if isinstance(event, Beat):
            shares[event.task.clip] = event.share * size
        else:
            shares.pop(event.task.clip, None)
            done, number = done + size, number + 1
            result = _result(event)
            store.put(result)
            log.log(logging.WARNING if result.status == FAILED else logging.INFO, clip_line(result))
            if event.details:
                log.warning("%s", event.details)
            tell.finished(number, result)
            if result.status == FAILED:
                need_room(data)
        tell.moved(done + sum(shares.values()))
    return number


def _result(outcome: Outcome) -> ClipResult:
    """The outcome as a row; a fault that may pass keeps no `made_with`, so that the next run tries again."""
    task: Task = outcome.task
    if not outcome.fault:
        return outcome.value
    fault = said_of(task.path.name, outcome.fault)
    reason = fault if outcome.tries == 1 else f"{fault} (tried {outcome.tries} times)"
    return ClipResult(
        clip=task.clip, content=task.content, athlete=task.athlete, cohort=task.cohort, date=task.date, status=FAILED, reason=" ".join(reason.split()),
        made_with=task.made_with if outcome.lasting else "",
    )  # fmt: skip


def _refused_words(rows: Sequence[ClipResult]) -> list[str]:
    """One line for all clips that are new and not opened for the same reason: a typing mistake in a code should not wait to be noticed."""
    together: dict[str, list[str]] = {}
    for row in rows:
        if row.status == SKIPPED and row.reason.startswith("not opened: "):
            together.setdefault(row.reason, []).append(one_line(row.clip))
    return [f"{names[0]}{f' and {len(names) - 1} more' if len(names) > 1 else ''}: {reason}" for reason, names in together.items()]


def _kept_words(kept: Sequence[Clip]) -> list[str]:
    """One line for all clips that are not opened for the same reason, however many nights and clips it has been."""
    together: dict[tuple[str, str], list[Clip]] = {}
    for clip in kept:
        together.setdefault((clip.reason, clip.athlete), []).append(clip)
    out = []
    for (reason, athlete), clips in together.items():
        first = one_line(clips[0].name)
        of = first if len(clips) == 1 else f"{len(clips)} clips, first {first}"
        until = f" until `matside forget {athlete}`" if clips[0].status == SKIPPED and athlete else ""
        out.append(f"{of}: {reason}; what was measured before is kept{until}")
    return out


def _statuses(clips: Sequence[Clip], store: Store, kept: Set[str] = frozenset()) -> Counter[str]:
    """How the clips in the folder stand now; those with results from before that need the coach now, or cannot be read, as such."""
    known = store.known()
    by_content = {k.content: k.status for k in known.values() if k.content}
    return Counter(
        c.status
        if c.name in kept and c.status != SKIPPED
        else known[c.name].status
        if c.name in known
        else by_content.get(c.content, c.status)
        for c in clips
    )


def _model_hash(settings: Settings) -> str:
    from pipeline.landmarks.models import looked_with

    return looked_with(settings.landmarks.model, settings.landmarks.second_look, settings.landmarks.near_look)


def _opencv_loads() -> None:
    """One line before the night instead of one a clip."""
    try:
        import cv2  # noqa: F401
    except ImportError as error:
        raise MatsideError(
            f"OpenCV does not load ({error}). Install what Matside pins: pip uninstall opencv-python opencv-contrib-python, then "
            "pip install --no-deps --force-reinstall -r requirements.txt; or on Debian: apt install libgl1 libglib2.0-0."
        ) from error


def cores() -> int:
    """Cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on macOS and Windows
        return os.cpu_count() or 1


class _log_file:
    """Send our log lines of this run to a file as well, and leave the logging as it was."""

    def __init__(self, path: Path) -> None:
        self._handler: logging.Handler = logging.FileHandler(path, encoding="utf-8", errors="backslashreplace")
        self._handler.setFormatter(_OneLine("%(asctime)s %(levelname)s %(message)s", "%Y-%m-%d %H:%M:%S"))
        self._logger = logging.getLogger("pipeline")

    def __enter__(self) -> None:
        self._level = self._logger.level
        self._logger.addHandler(self._handler)
        self._logger.setLevel(logging.INFO)

    def __exit__(self, *exc: Any) -> None:
        self._logger.removeHandler(self._handler)
        self._logger.setLevel(self._level)
        self._handler.close()


class _OneLine(logging.Formatter):
    """A message may hold a hostile file name: line breaks in it must not look like another line of the log."""

    def format(self, record: logging.LogRecord) -> str:
        text = super().format(record)
        return text if record.exc_info or "Traceback" in text else text.replace("\r", "\\r").replace("\n", "\\n")
