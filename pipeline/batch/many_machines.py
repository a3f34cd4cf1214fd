"""The same night on many machines, through dask.distributed (extra `many`): the same tasks, results, limits and failures.

Each machine does a task in a process of its own with the limits of one machine, so a crash or a hang is told just as here.
Clips and the output folder must lie on a disk that all machines see under the same path; only tasks and results travel.
"""

from __future__ import annotations

import logging
import multiprocessing as mp
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pipeline import __version__
from pipeline.batch.pool import Beat, Limits, Outcome, work
from pipeline.errors import MatsideError

log = logging.getLogger(__name__)

CONNECT_S = 30


class ManyMachines:
    """An engine for `run_folder` that sends the tasks to the workers of a scheduler."""

    def __init__(self, scheduler: str) -> None:
        self.scheduler = scheduler

    def __call__(
        self, tasks: Sequence[Any], function: Callable[..., Any], *, workers: int, limits: Limits, log_to: Path | None = None
    ) -> Iterator[Outcome | Beat]:
        """As `pool.work`; `workers` is left to the scheduler. Raises MatsideError if the scheduler cannot be reached."""
        try:
            from distributed import Client, as_completed
        except ImportError as error:
            raise MatsideError("Working on many machines needs the extra `many`: pip install 'matside[many]'.") from error
        try:
            client = Client(self.scheduler, timeout=CONNECT_S)
        except (OSError, ValueError) as error:
            raise MatsideError(f"{self.scheduler}: no scheduler answers there ({error}). Start one with: dask scheduler") from error
        with client:
            self._same_everywhere(client)
            futures = {
                client.submit(
                    do_alone, task, function, limits, str(log_to) if log_to else "", __version__, pure=False, retries=limits.retries
                ): task
                for task in tasks
            }
            for future in as_completed(futures):
                yield _outcome(futures[future], future)
                future.release()

    def _same_everywhere(self, client: Any) -> None:
        """Raise MatsideError where a machine has another Matside than this one: its results would not be the same."""

        def version() -> str:  # goes to the machines as it is, also to those that do not have this module
            from pipeline import __version__ as there

            return there

        others = {str(there): where for where, there in client.run(version, on_error="return").items() if there != __version__}
        for there, where in others.items():
            raise MatsideError(f"{where}: has another Matside ({there}; here {__version__}). Install the same version on all machines.")


def do_alone(task: Any, function: Callable[..., Any], limits: Limits, log_to: str, version: str) -> Outcome:
    """One task in a process of its own on this machine; its outcome, whatever happens in it. `version` is that of whoever asks."""
    import pipeline

    if pipeline.__version__ != version:  # a machine that joined later
        return Outcome(task, fault=f"a machine has another Matside ({pipeline.__version__} instead of {version}); install the same version")
    with _may_have_children():
        for event in work([task], function, workers=1, limits=limits, log_to=_own_log(log_to)):
            if isinstance(event, Outcome):
                return event
    raise AssertionError("a task without an outcome")


def _outcome(task: Any, future: Any) -> Outcome:
    """What came back, or that a machine was lost with the task more often than it is tried again."""
    error = future.exception()
    if error is None:
        return future.result()
    log.warning("%s: %r", task, error)
    return Outcome(task, fault=f"the machine that worked on it was lost ({type(error).__name__})")


def _own_log(log_to: str) -> Path | None:
    """A file of this machine's own, as many machines must not write into one."""
    if not log_to:
        return None
    path = Path(log_to)
    return path.with_name(f"{path.stem}-{os.uname().nodename if hasattr(os, 'uname') else 'machine'}-{os.getpid()}{path.suffix}")


@contextmanager
def _may_have_children() -> Iterator[None]:
    """A dask worker is a daemon of its nanny, and daemons may not start processes: for the time of a task it is none."""
    config = mp.current_process()._config  # type: ignore[attr-defined]
    daemon = config.get("daemon")
    config["daemon"] = False
    try:
        yield
    finally:
        config["daemon"] = daemon
