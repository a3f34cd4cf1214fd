"""Clips nobody has assigned: a sheet of blurred frames each, taken once, and the page that shows them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.batch.pool import Outcome
from pipeline.clips.content import stamp_of
from pipeline.clips.intake import NEEDS_YOU, Clip
from pipeline.errors import said_of


@dataclass(frozen=True)
class SheetTask:
    """One clip to show."""

    clip: str
    path: Path
    key: str
    data: Path

    def __str__(self) -> str:
        return f"contact sheet of {self.clip}"


def sheet_task(task: SheetTask, tell: Callable[[str, float], None]) -> int:
    """Take one clip's sheet; how many frames it shows."""
    from pipeline.reports.sheets import take_sheet

    return len(take_sheet(task.path, task.key, task.data))


def show_unassigned(
    clips: Sequence[Clip], out: Path, data: Path, *, pictures: bool, work: Callable, list_name: str, language: str = "en"
) -> Path | None:
    """Write the page with every clip that needs the coach; pictures only of those that may be anybody's. None without such clips."""
    from pipeline.reports.sheets import sheet_files, sheet_key, write_sheets

    waiting = [clip for clip in clips if clip.status == NEEDS_YOU]
    rows = {}
    tasks = []
    for clip in waiting:
        try:
            key = sheet_key(clip.name, *stamp_of(clip.path)) if pictures and (clip.of_two or not clip.athlete) else ""
            rows[clip.name] = (key, clip.reason)
        except OSError as error:  # a link that leads nowhere, or moved during the night
            key = ""
            rows[clip.name] = (key, f"{clip.reason}. No picture of it can be shown: cannot be read ({error.strerror})")
        if key and not sheet_files(data, key):
            tasks.append(SheetTask(clip.name, clip.path, key, data))
    for event in work(tasks, sheet_task) if tasks else ():
        if isinstance(event, Outcome) and event.fault:
            key, asked = rows[event.task.clip]
            rows[event.task.clip] = (
                key,
                f"{asked}. No picture of it can be shown: {said_of(event.task.path.name, event.fault)}",
            )
    return write_sheets(out, data, rows, list_name=list_name, language=language)
