"""Tells how the work goes: a bar with the time left on a terminal, one plain line a clip elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from pipeline.errors import one_line
from pipeline.store import ClipResult


class Reporter(Protocol):
    """Hears of everything a run does."""

    def start(self, clips: int, size: int) -> None: ...
    def moved(self, done: float) -> None: ...  # bytes' worth of work done so far
    def finished(self, number: int, result: ClipResult) -> None: ...


class Silent:
    """Says nothing: for tests and for use from Python."""

    def start(self, clips: int, size: int) -> None: ...
    def moved(self, done: float) -> None: ...
    def finished(self, number: int, result: ClipResult) -> None: ...


def clip_line(result: ClipResult) -> str:
    """One clip in one line.

    >>> clip_line(ClipResult("a.mp4", "", "OT-01", "Otters", "2026-03-02", "failed", "not a video"))
    'a.mp4: failed: not a video'
    """
    parts = [one_line(result.clip), result.status]
    if result.attempts:
        parts[-1] += f" ({', '.join(one.attempt.skill.replace('_', ' ') for one in result.attempts)})"
    if result.reason:
        parts.append(one_line(result.reason))
    return ": ".join(parts)


class Lines:
    """Plain lines, for logs, pipes and schedulers."""

    def __init__(self) -> None:
        self._clips = 0

    def start(self, clips: int, size: int) -> None:
        self._clips = clips

    def moved(self, done: float) -> None: ...

    def finished(self, number: int, result: ClipResult) -> None:
        """One line: what became of the clip, and how long it took."""
        seconds = f" ({result.seconds_of_work:.0f} s)" if result.seconds_of_work else ""
        print(f"[{number}/{self._clips}] {clip_line(result)}{seconds}", flush=True)


class Bar:
    """A bar with the time left; what needs the coach stays above it."""

    def __init__(self, progress, console) -> None:
        self._progress, self._console = progress, console
        self._clips = 0
        self._task = None

    def start(self, clips: int, size: int) -> None:
        """Show the bar, with how many clips there are."""
        self._clips = clips
        self._task = self._progress.add_task(f"0 of {clips} clips", total=size)

    def moved(self, done: float) -> None:
        """How much is done of the size that `start` was told."""
        if self._task is not None:
            self._progress.update(self._task, completed=done)

    def finished(self, number: int, result: ClipResult) -> None:
        """The clip's line above the bar."""
        self._progress.update(self._task, description=f"{number} of {self._clips} clips")
        self._console.print(clip_line(result), style=None if not result.reason else "yellow", markup=False, highlight=False)


@contextmanager
def reporter() -> Iterator[Reporter]:
    """A bar where somebody watches, lines where nobody does."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

    console = Console()
    if not console.is_terminal:
        yield Lines()
        return
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("left:"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console) as progress:
        yield Bar(progress, console)
