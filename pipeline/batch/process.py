"""One clip, from its file to its result. The same function on every engine; raises what it cannot do, and knows no database."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline import __version__
from pipeline.clips.content import stamp_of
from pipeline.errors import MatsideError, said_of
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.store import AttemptResult, ClipResult
from pipeline.vocabulary import Setting, Side, Skill

MEASURED, NOTHING_FOUND = "measured", "nothing found"
SMALLEST_BYTES_PER_S = 2000  # no real clip holds fewer: bounds what a lying header may claim
CLOCKS_APART_NS = 2_000_000_000  # file systems round times, the coarsest to two seconds, and another machine may round otherwise
LANDMARKS_SHARE = 0.9  # of the work, for the progress bar

Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Task:
    """One clip to measure, with all that the work needs."""

    clip: str
    path: Path
    content: str
    athlete: str
    cohort: str
    date: str
    landmarks: LandmarkSettings
    data: Path  # where landmarks and pictures are kept
    lead_side: Side = Side.NONE
    skill: Skill | None = None  # told by the coach
    setting: Setting | None = None
    model: str = ""  # key of the landmark models, `models.used`
    stamp: tuple[int, int] | None = None  # the file's bytes and time of change when `content` was read; None: not looked at again

    @property
    def made_with(self) -> str:
        """All that a reading hangs on besides the clip itself: another text measures again."""
        told = f"{self.skill or ''} {self.setting or ''} {self.lead_side}".split()
        return " ".join([f"matside-{__version__}", f"model-{self.model}", f"settings-{self.landmarks.key()}", *told])

    def __str__(self) -> str:
        return self.clip


def quiet(kind: str, value: float) -> None:
    """Tells nobody."""


def process_clip(task: Task, tell: Tell = quiet) -> ClipResult:
    """Measure one clip. `tell` hears ("length", seconds) once and ("share", 0..1) as the work goes on.

    Raises UnreadableClip where nothing could be decoded; whatever else is raised is a fault of ours or of the machine.
    """
    from pipeline.batch.memory import give_back_large_pieces
    from pipeline.landmarks import cartwheels, holds_kept
    from pipeline.landmarks.cache import cache_file

    _one_thread()
    give_back_large_pieces()
    began = time.perf_counter()
    kept = [of(task.content, task.landmarks, task.data / "landmarks") for of in (cache_file, holds_kept.kept_file, cartwheels.kept_file)]
    with _the_same_file(task, made=[file for file in kept if not file.is_file()]):
        return _process(task, tell, began)


def _process(task: Task, tell: Tell, began: float) -> ClipResult:
    from pipeline.attempts import whose
    from pipeline.attempts.find import find_attempts
    from pipeline.attempts.followed import followed
    from pipeline.attempts.held import seen_from_near
    from pipeline.clips.video import BROKEN, UnreadableClip, probe

    length = _believable_length(probe(task.path).duration_s, task.path)
    tell("length", length)
    track = followed(
        task.path, task.content, task.landmarks, task.data / "landmarks", source=task.clip,
        progress=lambda done_s: tell("share", LANDMARKS_SHARE * min(1.0, done_s / length)),
    )  # fmt: skip
    tell("share", LANDMARKS_SHARE)
    track = whose.athlete(track, told=task.skill)
    found = find_attempts(track, told=task.skill, lead_side=task.lead_side)
    track = seen_from_near(task.path, task.content, track, found, task.landmarks, task.data / "landmarks")
    results = []
    for number, attempt in enumerate(found, 1):
        if task.setting is not None:
            attempt = replace(attempt, setting=task.setting)
        results.append(_measured(task, track, attempt))
        tell("share", LANDMARKS_SHARE + (1 - LANDMARKS_SHARE) * number / len(found))
    if not results and any(BROKEN in note for note in track.notes):
        raise UnreadableClip("; ".join(track.notes), frames=len(track), seconds=float(track.t[-1]))
    return ClipResult(
        clip=task.clip, content=task.content, athlete=task.athlete, cohort=task.cohort, date=task.date,
        status=MEASURED if results else NOTHING_FOUND, reason=_reason(track, results, task.path.name), frames=len(track),
        seconds_of_work=time.perf_counter() - began, duration_s=float(track.t[-1]) if len(track) else 0.0,
        made_with=task.made_with, attempts=results,
    )  # fmt: skip


@contextmanager
def _the_same_file(task: Task, *, made: Sequence[Path]) -> Iterator[None]:
    """A clip that is still being copied, or replaced meanwhile, gives no results under the name of what it was: what was `made` of it goes.

    Raises MatsideError then, whatever else came of the work.
    """
    try:
        yield
    finally:
        if task.stamp is not None and not _same(task.stamp, task.path):
            for file in made:
                file.unlink(missing_ok=True)
            raise MatsideError(
                f"{task.path.name}: the file changed, or went, after this run had begun (is it still being copied?). Run again when it is whole."
            )


def _same(stamp: tuple[int, int], path: Path) -> bool:
    try:
        size, changed = stamp_of(path)
    except OSError:
        return False
    return size == stamp[0] and abs(changed - stamp[1]) <= CLOCKS_APART_NS


def attempt_link(task: Task, number: int) -> str:
    """The attempt's anchor on its page and the start of its pictures' names, the same from run to run."""
    return f"{task.athlete}_{task.date}_{task.content[:8]}_{number}"


def _measured(task: Task, track, attempt) -> AttemptResult:
    from pipeline.measures.measure import measure_attempt
    from pipeline.reports.pictures import take_pictures

    link = attempt_link(task, attempt.number)
    readings, curves = measure_attempt(track, attempt, lead_side=task.lead_side)
    pictures = take_pictures(task.path, track, attempt, readings, link=link, folder=task.data, blur=True)
    return AttemptResult(attempt, link, readings, curves, pictures)


def _reason(track, results: list, name: str) -> str:
    """What the coach should know of a clip that could be read; empty where all went well. The clip's name stands beside it already."""
    said = [said_of(name, note) for note in track.notes]
    if not results:
        if not track.seen.any():
            said.append("nobody was found in the picture. Film the whole body, standing upright at the start, from the side or the front")
        else:
            said.append(
                "none of the skills was found: lunge, loaded lunge, cartwheel, backward roll, shoulder stand. "
                "If it is there, name it in clips.csv, column skill"
            )
    return "; ".join(said)


def _believable_length(claimed: float | None, path: Path) -> float:
    """Seconds of video, never more than the file's size could hold."""
    most = max(1.0, path.stat().st_size / SMALLEST_BYTES_PER_S)
    return min(claimed, most) if claimed else most


def _one_thread() -> None:
    """Workers share the cores by clips; threads inside one would only get in each other's way."""
    import cv2

    cv2.setNumThreads(1)
