"""Many machines: the same outcome as one, with separate worker processes, one of which is lost on the way."""

import os
import signal
import time

import pytest

from pipeline.batch.many_machines import ManyMachines, do_alone
from pipeline.batch.pool import Beat, Limits, work
from pipeline.batch.run import run_folder
from pipeline.errors import MatsideError
from tests.batch.chores import chore
from tests.batch.nights import TODAY, clips_folder, contents
from tests.faults.night import measure

distributed = pytest.importorskip("distributed", reason="the extra `many` is not installed")


@pytest.fixture(scope="module")
def cluster():
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1", silence_logs=50
    ) as cluster:
        yield cluster


def test_faults_are_told_as_on_one_machine(cluster):
    tasks = ["fine:1", "raise", "unreadable", "crash", "fine:2", "exit"]
    limits = Limits(retries=0)

    def told(engine):
        outcomes = [e for e in engine(tasks, chore, workers=2, limits=limits) if not isinstance(e, Beat)]
        return sorted((o.task, o.value or "", o.fault, o.lasting) for o in outcomes)

    assert told(ManyMachines(cluster.scheduler_address)) == told(work)


def test_a_machine_with_another_version_is_told_before_anything_is_done(cluster):
    def become(version):
        import pipeline

        was, pipeline.__version__ = pipeline.__version__, version
        return was

    engine = ManyMachines(cluster.scheduler_address)
    with distributed.Client(cluster) as client:
        was = client.run(become, "0.0.1", workers=[cluster.workers[1].worker_address])
        try:
            with pytest.raises(MatsideError, match=r"has another Matside \(0\.0\.1; here .*Install the same version"):
                list(engine(["fine:1"], chore, workers=1, limits=Limits(retries=0)))
        finally:
            for where, version in was.items():
                client.run(become, version, workers=[where])
    outcome = do_alone("fine:1", chore, Limits(retries=0), "", "0.0.1")  # one that joined later
    assert "install the same version" in outcome.fault and not outcome.lasting


def test_a_hang_ends_by_its_limit(cluster):
    engine = ManyMachines(cluster.scheduler_address)
    (outcome,) = engine(["hang"], chore, workers=1, limits=Limits(limit_s=5, retries=0))
    assert outcome.fault == "given up after 5 s, the time limit for a clip of this length"


def test_a_night_with_a_worker_killed_on_the_way_ends_as_one_on_this_machine(cluster, tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.batch.run.process_clip", measure)
    folder = clips_folder(tmp_path, [f"OT-01_2026-03-02_{n}.mp4" for n in range(8)])
    run_folder(folder, tmp_path / "here", today=TODAY, workers=2)
    victim = cluster.workers[0].pid  # the nanny starts another in its place

    lost_after = []

    def losing_one(tasks, *args, **options):
        for number, event in enumerate(ManyMachines(cluster.scheduler_address)(tasks, *args, **options)):
            if not lost_after:  # the first word from the night: the other clips are still to come
                os.kill(victim, signal.SIGKILL)
                lost_after.append((number, len(tasks)))
            yield event

    run_folder(folder, tmp_path / "there", today=TODAY, engine=losing_one)
    assert contents(tmp_path / "there") == contents(tmp_path / "here")
    assert lost_after == [(0, 8)]
    assert gone(victim)


def gone(pid: int, patience_s: float = 10.0) -> bool:
    """The process has ended, and whoever started it has taken note."""
    until = time.monotonic() + patience_s
    while time.monotonic() < until:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.1)
    return False


def test_no_scheduler_is_one_line(monkeypatch):
    monkeypatch.setattr("pipeline.batch.many_machines.CONNECT_S", 1)
    with pytest.raises(MatsideError, match="no scheduler answers there"):
        list(ManyMachines("tcp://127.0.0.1:9")(["fine"], chore, workers=1, limits=Limits()))
