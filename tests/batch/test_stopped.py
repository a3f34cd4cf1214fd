"""Nights that cannot go on: no room, no rights, a broken store. One line, nothing lost, and the next one goes on."""

import os
import shutil
import sqlite3

import pytest

from pipeline.batch.pool import Outcome
from pipeline.errors import MatsideError
from pipeline.store import Store
from tests.batch.nights import ONE, StandIn, night, rows_of


def test_a_full_disk_stops_the_night_and_the_next_goes_on(folder, out, monkeypatch):
    full = shutil._ntuple_diskusage(10**9, 10**9, 1000)
    usage = shutil.disk_usage

    class FillsUp(StandIn):
        def __call__(self, tasks, *args, **kwargs):
            for number, event in enumerate(super().__call__(tasks, *args, **kwargs)):
                if number == 3:  # the second clip's outcome
                    monkeypatch.setattr(shutil, "disk_usage", lambda _: full)
                    event = Outcome(event.task, fault="unexpected OSError: [Errno 28] No space left on device")
                yield event

    with pytest.raises(MatsideError, match=r"0 MB free on the disk.*what is done stays done"):
        night(folder, out, FillsUp())
    assert sorted(status for status, _ in rows_of(out).values()) == ["failed", "measured"]
    monkeypatch.setattr(shutil, "disk_usage", usage)
    asked, done = night(folder, out)
    assert len(asked) == 2 and dict(done.statuses) == {"measured": 3}


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), sqlite3.OperationalError("database or disk is full")])
def test_a_disk_that_fills_up_while_a_result_is_stored_is_one_line(folder, out, monkeypatch, error):
    put = Store.put

    def full(self, result):
        if result.clip == ONE:
            raise error
        put(self, result)

    monkeypatch.setattr(Store, "put", full)
    with pytest.raises(MatsideError, match="the disk is full"):
        night(folder, out)
    monkeypatch.setattr(Store, "put", put)
    assert dict(night(folder, out)[1].statuses) == {"measured": 3}


@pytest.mark.skipif(os.name == "nt" or os.getuid() == 0, reason="the administrator may write everywhere")
def test_an_output_folder_that_may_not_be_written(folder, tmp_path):
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    with pytest.raises(MatsideError, match="cannot be written"):
        night(folder, locked / "out")


def test_a_file_where_the_output_should_be(folder, tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(MatsideError, match="cannot be written"):
        night(folder, tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"


def test_a_broken_database_is_told_and_left_alone(folder, out):
    night(folder, out)
    path = out / "data" / "matside.sqlite"
    path.write_bytes(b"not a database" * 1000)
    for extra in out.glob("data/matside.sqlite-*"):
        extra.unlink()
    with pytest.raises(MatsideError, match=r"matside\.sqlite: cannot be used"):
        night(folder, out)
    assert path.read_bytes().startswith(b"not a database")


def test_wrong_tolerances_are_told_before_any_clip_is_opened(folder, out, tmp_path):
    wrong = tmp_path / "mine.toml"
    wrong.write_text("[lunge.hip_angle]\nmet_within = 'ten'\n")
    engine = StandIn()
    with pytest.raises(MatsideError, match=r"mine\.toml, line 2"):
        night(folder, out, engine, tolerances=[wrong])
    assert engine.asked == []


@pytest.mark.parametrize(
    "said", ["attempt to write a readonly database", "database or disk is full", "database is locked", "disk I/O error"]
)
def test_nobody_is_told_to_move_good_results_away(out, monkeypatch, said):
    """What is wrong with the disk or its rights is not wrong with the results."""

    class Refusing:
        def execute(self, *_):
            raise sqlite3.OperationalError(said)

    monkeypatch.setattr(sqlite3, "connect", lambda *_, **__: Refusing())
    with pytest.raises(MatsideError) as told:
        Store(out / "data" / "matside.sqlite")
    line = str(told.value)
    assert f"cannot be written to ({said}). Nothing is lost" in line and "Move" not in line and "\n" not in line
