"""A night in a process of its own that can be killed: real workers, store, lock and pages; only the looking is made up.

python -m tests.faults.night FOLDER OUT
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from pipeline.batch.process import Task
from pipeline.errors import MatsideError
from pipeline.store import ClipResult, Picture, Store
from pipeline.vocabulary import Side
from tests.batch.nights import TODAY, made_up

WORK_S = 0.02


def measure(task: Task, tell) -> ClipResult:
    """Leaves files as a real clip does, in steps between which it can be killed."""
    from pipeline.files import write_whole

    tell("length", 1.0)
    result = made_up(task)
    done = result.attempts[0]
    write_whole(task.data / "landmarks" / f"{task.content}_m_s.parquet", task.content * 100)
    time.sleep(WORK_S)
    name = f"pictures/{done.link}_001500.jpg"
    write_whole(task.data / name, task.content * 200)
    picture = Picture("hip_angle", Side.NONE, name, 10, 10, ((1.0, 2.0), (3.0, 4.0)))
    return type(result)(**{**vars(result), "attempts": [type(done)(done.attempt, done.link, done.readings, done.curves, [picture])]})


def main(folder: str, out: str) -> int:
    import pipeline.batch.pages as pages_module
    import pipeline.batch.run as run_module

    pages_module.WORTH_A_PROCESS = 20  # so that the second process that draws is killed with the others
    run_module.process_clip = measure  # type: ignore[assignment]
    try:
        done = run_module.run_folder(Path(folder), Path(out), today=TODAY, workers=2)
    except MatsideError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    coach_adds_her_words(Path(out))
    print(f"{done.found} found, {done.unchanged} done before")
    return 0


def coach_adds_her_words(out: Path) -> None:
    """What the commands keep beside the readings, each as they do it: verdicts by eye, pins, a note, own routines, a score sheet."""
    from pipeline.batch.lock import only_run
    from pipeline.batch.pages import write_pages
    from pipeline.batch.profile import load_profile
    from pipeline.files import write_whole
    from pipeline.practice.points_plan import load_plan
    from pipeline.reports.points_page import write_filled

    profile = load_profile(())
    with only_run(out / "data"), Store(out / "data" / "matside.sqlite") as store:
        attempts = list(store.attempts().itertuples(index=False))
        if store.eye().empty:
            store.add_eye((a.link, "hip_angle", "", "met", "2026-03-08T20:00:00+00:00") for a in attempts[::7])
        for code in ("OT-01", "HE-02"):
            store.pin(code, "lunge", "hip_angle", "", "")
        store.add_note("OT-01", "2026-03-02", "growth", "new shoes")
        write_whole(out / "data" / "routines.toml", '[[routine]]\nname = "Ours"\nskills = ["lunge", "cartwheel"]\n')
        write_filled(store, profile, out, load_plan(), since="2026-03-01", until="2026-03-09")
        write_pages(store, profile, out)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
