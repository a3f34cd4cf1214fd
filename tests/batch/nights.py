"""Folders, rosters and stand-in engines for tests of whole nights: everything real but the looking at pictures."""

from __future__ import annotations

import sqlite3
from datetime import date
from pathlib import Path

import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.batch.pool import Beat, Outcome
from pipeline.batch.process import MEASURED, Task, attempt_link, process_clip, quiet
from pipeline.batch.run import run_folder
from pipeline.errors import MatsideError
from pipeline.measures.reading import Curve, Reading
from pipeline.store import AttemptResult, ClipResult
from pipeline.vocabulary import Setting, Side, Skill

TODAY = date(2026, 3, 9)
ONE, TWO, THREE = "OT-01_2026-03-02_1.mp4", "HE-02_2026-03-03_1.mp4", "CU-03_2026-03-04_1.mp4"
ROSTER = "athlete,cohort,lead_side,consent_until\nOT-01,Otters,left,2027-01-01\nHE-02,Herons,right,2027-01-01\nCU-03,Curlews,,2027-01-01\n"


def clips_folder(tmp_path: Path, names=(ONE, TWO, THREE)) -> Path:
    """A folder with a roster and clips that only the stand-in engine can "measure": each file's bytes are its name."""
    folder = tmp_path / "clips"
    folder.mkdir(exist_ok=True)
    (folder / "roster.csv").write_text(ROSTER)
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(name.encode())
    return folder


def made_up(task: Task) -> ClipResult:
    """A result that depends on the clip's content and what was told, and on nothing else."""
    rng = np.random.default_rng(int(task.content[:8], 16))
    value = float(rng.uniform(150, 180))
    attempt = Attempt(
        task.skill or Skill.LUNGE, 1, 0.5, 2.5, 1.0, 2.0, 1, task.lead_side, task.setting or Setting.ALONE, 0.9, task.skill is not None
    )
    readings = [
        Reading("hip_angle", Side.NONE, value, value - 5, value + 5, "deg", 1.0, at_s=1.5),
        Reading("knee_angle", Side.NONE, float("nan"), float("nan"), float("nan"), "deg", 0.1, reason="hidden"),
    ]
    t = np.linspace(0.5, 2.5, 9)
    curves = [Curve("hip_angle", Side.NONE, "deg", t, value + t, value + t - 5, value + t + 5)]
    done = AttemptResult(attempt, attempt_link(task, 1), readings, curves)
    return ClipResult(
        task.clip, task.content, task.athlete, task.cohort, task.date, MEASURED, "", 90, 1.0, 3.0, task.made_with, [done],
    )  # fmt: skip


class StandIn:
    """An engine that measures at once, in this process, and remembers what it was asked to do."""

    def __init__(self, faults: dict[str, Outcome] | None = None) -> None:
        self.asked: list[str] = []
        self.tasks: dict[str, Task] = {}
        self.faults = faults or {}

    def __call__(self, tasks, function, *, workers, limits, log_to=None):
        for task in tasks:
            if function is not process_clip:  # anything else is quick enough to be done for real
                try:
                    yield Outcome(task, value=function(task, quiet))
                except MatsideError as error:
                    yield Outcome(task, fault=str(error), lasting=error.lasting)
                continue
            self.asked.append(task.clip)
            self.tasks[task.clip] = task
            yield Beat(task, 0.5)
            fault = self.faults.get(task.clip)
            yield (
                Outcome(task, fault=fault.fault, lasting=fault.lasting, tries=fault.tries) if fault else Outcome(task, value=made_up(task))
            )


def contents(out: Path) -> list[tuple]:
    """Every row of every table, without row numbers and working times: two equal nights give equal lists."""
    database = sqlite3.connect(out / "data" / "matside.sqlite")
    clips = database.execute(
        "SELECT clip, content, athlete, cohort, date, status, reason, frames, duration_s, made_with FROM clips ORDER BY clip"
    )
    attempts = database.execute(
        "SELECT clip, link, number, skill, setting, start_s, end_s, key_start_s, key_end_s, told FROM attempts ORDER BY link"
    )
    rest = [
        database.execute(f"SELECT a.link, x.{', x.'.join(columns)} FROM {table} x JOIN attempts a ON a.id = x.attempt ORDER BY 1, 2, 3")
        for table, columns in (
            ("readings", ("detail", "side", "value", "low", "high", "unit", "usable_share", "reason", "at_s", "line")),
            ("curves", ("detail", "side", "unit", "samples")),
            ("pictures", ("detail", "side", "file", "width", "height", "points")),
        )
    ]
    said = [
        database.execute(f"SELECT {', '.join(columns)} FROM {table} ORDER BY 1, 2, 3, 4")
        for table, columns in (
            ("eye", ("link", "detail", "side", "said", "verdict", "content", "athlete", "skill", "start_s", "end_s")),
            ("pins", ("athlete", "skill", "detail", "side", "until")),
            ("roster", ("athlete", "cohort", "lead_side", "consent_until")),
            ("notes", ("about", "date", "kind", "text")),
        )
    ]
    rows = [(kind, *row) for kind, table in enumerate([clips, attempts, *rest, *said]) for row in table]
    database.close()
    return rows


def rows_of(out: Path) -> dict[str, tuple[str, str]]:
    """{clip: (status, reason)}."""
    database = sqlite3.connect(out / "data" / "matside.sqlite")
    rows = {clip: (status, reason) for clip, status, reason in database.execute("SELECT clip, status, reason FROM clips")}
    database.close()
    return rows


def night(folder: Path, out: Path, engine: StandIn | None = None, **options):
    """One run with a stand-in engine; returns what was measured."""
    engine = engine or StandIn()
    done = run_folder(folder, out, engine=engine, today=options.pop("today", TODAY), **options)
    return engine.asked, done
