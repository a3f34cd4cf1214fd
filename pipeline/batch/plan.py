"""What tonight has to do: clips taken in, set against what the store holds already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from pipeline.batch.process import MEASURED, NOTHING_FOUND, Task
from pipeline.clips.content import stamp_of
from pipeline.clips.intake import NEEDS_YOU, READY, Clip
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.store import ClipResult, Known

DONE = (MEASURED, NOTHING_FOUND)


@dataclass
class Plan:
    """Nothing here has been done yet."""

    tasks: list[Task] = field(default_factory=list)  # to measure
    rows: list[ClipResult] = field(default_factory=list)  # clips that are not opened, where the store does not say so yet
    renamed: list[tuple[str, str]] = field(default_factory=list)  # measured before under another name: (old, new)
    unchanged: int = 0
    kept: list[Clip] = field(default_factory=list)  # not opened now (consent, mostly; a disk that fails), with results from before
    sizes: dict[str, int] = field(default_factory=dict)  # bytes of each task's clip, for the progress


def make_plan(
    clips: Iterable[Clip], known: Mapping[str, Known], *, landmarks: LandmarkSettings, model: str, data: Path, again: bool = False
) -> Plan:
    """Decide for every clip. `again` measures all that may be opened, whatever the store holds.

    A clip is known by its content: renamed or moved, it keeps its results. One that has the name of another athlete's
    or another day's clip (phones count from IMG_0001 again) gets a part of its content hash into its name and
    replaces nothing.
    """
    plan = Plan()
    clips = list(clips)
    here = {clip.name for clip in clips}
    by_content = {k.content: name for name, k in known.items() if k.content and k.status in DONE}
    taken = set(known)
    for clip in clips:
        if clip.status != READY:
            _row_for(clip, known, plan)
            continue
        name = _name_for(clip, known, by_content)
        old = by_content.get(clip.content)
        held = known.get(name)
        if old is not None and old != name and old not in here and name not in taken:
            plan.renamed.append((old, name))
            taken = taken - {old} | {name}
            held = known[old]
        task = Task(
            clip=name, path=clip.path, content=clip.content, athlete=clip.athlete, cohort=clip.cohort, date=clip.date.isoformat() if clip.date else "",
            landmarks=landmarks, data=data, lead_side=clip.lead_side, skill=clip.skill, setting=clip.setting, model=model, stamp=clip.stamp,
        )  # fmt: skip
        if not again and held is not None and _same(held, task):
            plan.unchanged += 1
        else:
            plan.tasks.append(task)
            plan.sizes[name] = (clip.stamp or stamp_of(clip.path))[0]
    return plan


def _same(held: Known, task: Task) -> bool:
    """The store's results are what measuring now would give. A fault of the machine has no `made_with`: it is tried again."""
    return (held.content, held.athlete, held.cohort, held.date, held.made_with) == (
        task.content,
        task.athlete,
        task.cohort,
        task.date,
        task.made_with,
    )


def _name_for(clip: Clip, known: Mapping[str, Known], by_content: Mapping[str, str]) -> str:
    held = known.get(clip.name)
    path = PurePosixPath(clip.name)
    apart = str(path.with_name(f"{path.stem}~{clip.content[:8]}{path.suffix}"))
    if by_content.get(clip.content) == apart:
        return apart
    if held is None or held.status not in DONE or held.content == clip.content:
        return clip.name
    other = (held.athlete, held.date) != (clip.athlete, clip.date.isoformat() if clip.date else "")
    return apart if other else clip.name


def _says_nothing_new(held: Known, clip: Clip) -> bool:
    """Whether results from before stay: the clip may not be opened, cannot be read tonight, or has a wrong cell, but not another athlete."""
    if clip.status == NEEDS_YOU:
        return held.athlete == clip.athlete and not clip.content
    return not clip.content


def _row_for(clip: Clip, known: Mapping[str, Known], plan: Plan) -> None:
    """A clip that is not opened gets a row with its reason; results from before are kept until they are forgotten."""
    held = known.get(clip.name)
    if held is not None and held.status in DONE and _says_nothing_new(held, clip):
        plan.kept.append(clip)
        return
    row = Known(clip.content, clip.athlete, clip.cohort, clip.date.isoformat() if clip.date else "", clip.status, clip.reason, "")
    if held != row:
        plan.rows.append(ClipResult(clip=clip.name, **vars(row)))
