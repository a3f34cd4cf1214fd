"""Workers that crash, hang and swell cost their own task only."""

import os
import time

import psutil
import pytest

from pipeline.batch.pool import Beat, Limits, work
from tests.batch.chores import chore

QUICK = Limits(limit_s=60, limit_per_second=0, silence_s=60, memory_mb=2000, retries=0)


def outcomes(tasks, limits=QUICK, workers=2):
    got = [event for event in work(tasks, chore, workers=workers, limits=limits) if not isinstance(event, Beat)]
    assert sorted(o.task for o in got) == sorted(tasks), "every task exactly one outcome"
    return {o.task: o for o in got}


def children():
    return psutil.Process().children(recursive=True)


def test_all_that_can_go_wrong_at_once_and_the_rest_is_done():
    tasks = [f"fine:{i}" for i in range(6)]
    tasks[2:2] = ["crash", "raise", "exit", "unreadable", "refuse"]
    got = outcomes(tasks)
    assert [got[f"fine:{i}"].value for i in range(6)] == [f"done {i}" for i in range(6)]
    assert got["crash"].fault == "the worker process crashed (SIGSEGV)"
    assert got["exit"].fault == "the worker process ended unexpectedly (exit code 7)"
    assert got["raise"].fault == "unexpected ValueError: a fault of ours" and "Traceback" in got["raise"].details
    assert got["unreadable"].fault == "a.mp4: not a video"
    assert [t for t in tasks if got[t].lasting] == ["unreadable"], "only a broken file stays broken"


def test_a_hang_is_given_up_by_its_time_limit():
    got = outcomes(["hang", "fine"], Limits(limit_s=4, silence_s=60, retries=0))
    assert got["hang"].fault == "given up after 4 s, the time limit for a clip of this length"
    assert got["fine"].value == "done"


def test_the_limit_grows_with_the_clip():
    """`fine` tells a length of 1 s, which makes the limit 4 s; `chatter` tells none."""
    assert Limits(limit_s=3, limit_per_second=1).seconds_for(600) == 603
    got = outcomes(["chatter"], Limits(limit_s=3, silence_s=60, retries=0))
    assert "time limit" in got["chatter"].fault


def test_silence_is_a_hang():
    got = outcomes(["hang"], Limits(limit_s=600, silence_s=4, retries=0))
    assert got["hang"].fault == "given up: no progress for 4 s"


def test_too_much_memory():
    got = outcomes(["swell", "fine"], Limits(memory_mb=400, retries=0))
    assert "more than the 400 MB allowed" in got["swell"].fault
    assert got["fine"].value == "done"


def test_a_crash_is_tried_again_and_the_tries_are_counted(tmp_path):
    task = f"crash_once:{tmp_path / 'mark'}"
    got = outcomes([task, "crash"], Limits(retries=1))
    assert (got[task].value, got[task].tries) == ("second time lucky", 2)
    assert got["crash"].tries == 2


def test_an_error_that_is_raised_is_not_tried_again():
    assert outcomes(["raise"], Limits(retries=3))["raise"].tries == 1


def test_beats_come_between():
    events = list(work(["fine"], chore, workers=1, limits=QUICK))
    assert [e.share for e in events if isinstance(e, Beat)] == [0.5]


def test_no_more_workers_than_told_and_each_is_kept():
    got = outcomes([f"pid:{i}" for i in range(8)], workers=2)
    assert 1 <= len({o.value for o in got.values()}) <= 2


def test_a_worker_uses_one_thread_and_our_own_environment_stays():
    before = dict(os.environ)
    assert outcomes(["threads"])["threads"].value == "1"
    assert dict(os.environ) == before


def test_stopping_ends_the_workers():
    events = work(["hang", "hang", "fine"], chore, workers=3, limits=QUICK)
    next(events)
    assert len(children()) >= 3
    events.close()
    deadline = time.monotonic() + 10
    while children() and time.monotonic() < deadline:
        time.sleep(0.05)
    assert [c for c in children() if "resource_tracker" not in " ".join(c.cmdline())] == []


def test_nothing_to_do():
    assert list(work([], chore, workers=2, limits=QUICK)) == []


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills with SIGKILL")
def test_workers_do_not_outlive_a_killed_parent(tmp_path):
    import subprocess
    import sys

    code = (
        "from tests.batch.chores import chore; from pipeline.batch.pool import *\n"
        "if __name__ == '__main__':\n"
        "    for e in work(['chatter'], chore, workers=1, limits=Limits()): print('beat', flush=True)\n"
    )
    script = tmp_path / "parent.py"
    script.write_text(code)
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": os.getcwd()})
    assert parent.stdout.readline()
    workers = psutil.Process(parent.pid).children(recursive=True)
    assert workers
    parent.kill()
    parent.wait()
    _, alive = psutil.wait_procs(workers, timeout=10)
    assert alive == []
