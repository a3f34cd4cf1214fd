"""Worker processes that may crash, hang or swell without taking the night with them.

One pipe to each worker, so that the parent always knows whose fault an end is. (`concurrent.futures` gives up the whole
pool when one worker dies; others know time limits but neither memory limits nor signs of life.)
"""

from __future__ import annotations

import logging
import multiprocessing as mp
import os
import signal
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

log = logging.getLogger(__name__)

TICK_S = 0.5
GRACE_S = 5.0
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
QUIET = {"GLOG_minloglevel": "2", "TF_CPP_MIN_LOG_LEVEL": "3"}

Tell = Callable[[str, float], None]  # ("length", seconds of video) or ("share", 0..1 of the work done)


@dataclass(frozen=True)
class Limits:
    """When a task is given up."""

    limit_s: float = 180.0
    limit_per_second: float = 60.0  # and so much more for each second of video
    silence_s: float = 180.0
    memory_mb: int = 2000
    retries: int = 1

    def seconds_for(self, length_s: float) -> float:
        return self.limit_s + self.limit_per_second * length_s


@dataclass(frozen=True)
class Outcome:
    """What became of a task: a value, or what went wrong in one line."""

    task: Any
    value: Any = None
    fault: str = ""
    lasting: bool = False  # the fault will be the same next time
    details: str = ""  # for the log
    tries: int = 1


@dataclass(frozen=True)
class Beat:
    """A sign of life: the share of a task that is done."""

    task: Any
    share: float


@dataclass
class _Worker:
    process: mp.process.BaseProcess
    pipe: Connection
    task: Any = None
    tries: int = 0
    since: float = 0.0
    heard: float = 0.0
    limit: float = 0.0
    lost: str = field(default="")  # why the parent ended it

    @property
    def busy(self) -> bool:
        return self.task is not None


def work(
    tasks: Sequence[Any], function: Callable[[Any, Tell], Any], *, workers: int, limits: Limits, log_to: Path | None = None
) -> Iterator[Outcome | Beat]:
    """Call `function(task, tell)` for each task in worker processes; give out beats and, once a task, its outcome, as they come.

    A worker's end, whatever its cause, costs only its task, which is tried again `limits.retries` times, last of all.
    Closing the iterator ends the workers.
    """
    waiting = deque((task, 1) for task in tasks)
    crew: list[_Worker] = []
    try:
        while waiting or any(w.busy for w in crew):
            while waiting and sum(w.busy for w in crew) < workers:
                idle = next((w for w in crew if not w.busy), None)
                if idle is None:
                    idle = _hire(function, log_to)
                    crew.append(idle)
                _give(idle, *waiting.popleft(), limits)
            ready = set(wait([w.pipe for w in crew] + [w.process.sentinel for w in crew], timeout=TICK_S))
            for worker in list(crew):
                if worker.pipe in ready or worker.process.sentinel in ready:
                    yield from _listen(worker, limits)
                fault = _overdue(worker, limits) if worker.busy else ""
                if fault:
                    worker.lost = fault
                    worker.process.kill()
                    worker.process.join(GRACE_S)
                if worker.process.exitcode is None:
                    continue
                crew.remove(worker)
                worker.pipe.close()
                if worker.busy:
                    fault = worker.lost or _last_words(worker.process.exitcode)
                    log.warning("%s (try %d): %s", worker.task, worker.tries, fault)
                    if worker.tries <= limits.retries:
                        waiting.append((worker.task, worker.tries + 1))
                    else:
                        yield Outcome(worker.task, fault=fault, tries=worker.tries)
    finally:
        for worker in crew:
            worker.process.kill()
        for worker in crew:
            worker.process.join(GRACE_S)
            worker.pipe.close()


def _hire(function: Callable[[Any, Tell], Any], log_to: Path | None) -> _Worker:
    context = mp.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, function, log_to), daemon=True)
    with _environment({**dict.fromkeys(ONE_THREAD, "1"), **QUIET}):
        process.start()
    theirs.close()
    return _Worker(process, ours)


@contextmanager
def _environment(values: dict[str, str]) -> Iterator[None]:
    """Set variables for the child being started; the numeric libraries read them when they load."""
    before = {name: os.environ.get(name) for name in values}
    os.environ.update(values)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _give(worker: _Worker, task: Any, tries: int, limits: Limits) -> None:
    worker.task, worker.tries = task, tries
    worker.since = worker.heard = time.monotonic()
    worker.limit = limits.seconds_for(0)
    with suppress(OSError):  # it died between two tasks: its sentinel tells, and the task is tried again
        worker.pipe.send(task)


def _listen(worker: _Worker, limits: Limits) -> Iterator[Outcome | Beat]:
    try:
        while worker.pipe.poll():
            kind, content = worker.pipe.recv()
            worker.heard = time.monotonic()
            if kind == "length":
                worker.limit = limits.seconds_for(content)
            elif kind == "share":
                yield Beat(worker.task, content)
            else:
                outcome = Outcome(worker.task, tries=worker.tries, **content)
                worker.task = None
                yield outcome
    except (EOFError, OSError):
        worker.process.join(GRACE_S)


def _overdue(worker: _Worker, limits: Limits) -> str:
    """Why this worker must be ended now; empty while all is well."""
    now = time.monotonic()
    if now - worker.since > worker.limit:
        return f"given up after {worker.limit:.0f} s, the time limit for a clip of this length"
    if now - worker.heard > limits.silence_s:
        return f"given up: no progress for {limits.silence_s:.0f} s"
    used = _memory_mb(worker.process.pid)
    if used > limits.memory_mb:
        return f"given up: it needed {used:.0f} MB of memory, more than the {limits.memory_mb} MB allowed"
    return ""


def _memory_mb(pid: int | None) -> float:
    import psutil

    try:
        return psutil.Process(pid).memory_info().rss / 2**20
    except psutil.Error:
        return 0.0


def _last_words(exitcode: int) -> str:
    if exitcode < 0:
        try:
            name = signal.Signals(-exitcode).name
        except ValueError:
            name = f"signal {-exitcode}"
        return f"the worker process crashed ({name})"
    return f"the worker process ended unexpectedly (exit code {exitcode})"


# ---- what runs in the worker -------------------------------------------------------------------------------------------


def _serve(pipe: Connection, function: Callable[[Any, Tell], Any], log_to: Path | None) -> None:
    """Do tasks until the parent hangs up."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what an interruption means
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if log_to is not None:
        _noise_into(log_to)
    tell = _Teller(pipe)
    while True:
        try:
            task = pipe.recv()
        except (EOFError, OSError):
            return
        pipe.send(("end", _attempt(function, task, tell)))


def _attempt(function: Callable[[Any, Tell], Any], task: Any, tell: Tell) -> dict[str, Any]:
    from pipeline.errors import MatsideError

    try:
        return {"value": function(task, tell)}
    except MatsideError as error:
        return {"fault": str(error), "lasting": error.lasting}
    except MemoryError:
        return {"fault": "the machine had not enough memory for it"}
    except Exception as error:
        return {"fault": f"unexpected {type(error).__name__}: {error}", "details": traceback.format_exc()}


class _Teller:
    """Passes word to the parent, at most a few times a second."""

    EVERY_S = 0.25

    def __init__(self, pipe: Connection) -> None:
        self._pipe, self._last = pipe, 0.0

    def __call__(self, kind: str, value: float) -> None:
        if kind == "share":
            now = time.monotonic()
            if now - self._last < self.EVERY_S:
                return
            self._last = now
        self._pipe.send((kind, float(value)))


def _end_with_parent() -> None:
    """No worker outlives its parent, however the parent ended."""
    parent = mp.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _noise_into(path: Path) -> None:
    """Native libraries write to stderr as they like: into a file with it, where a crash leaves its trace too."""
    import faulthandler

    with open(path, "ab", buffering=0) as file:
        os.dup2(file.fileno(), 2)
    faulthandler.enable()
