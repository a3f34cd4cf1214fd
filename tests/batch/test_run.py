"""Nights: every clip one row, nothing done twice, nothing lost, nobody without consent looked at."""

import logging
import os
import shutil
import sqlite3
import threading
import time
from datetime import date

import pytest

from pipeline.batch.lock import AnotherRun, only_run
from pipeline.batch.pool import Outcome
from pipeline.batch.run import run_folder
from pipeline.errors import MatsideError
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.settings import Settings
from pipeline.store import Store
from tests.batch.nights import ROSTER, TODAY, StandIn, clips_folder, contents, rows_of
from tests.clips.filming import film, record_sound

ONE, TWO, THREE = "OT-01_2026-03-02_1.mp4", "HE-02_2026-03-03_1.mp4", "CU-03_2026-03-04_1.mp4"


@pytest.fixture
def folder(tmp_path):
    return clips_folder(tmp_path)


@pytest.fixture
def out(tmp_path):
    return tmp_path / "out"


def night(folder, out, engine=None, **options):
    """One run with a stand-in engine; returns what was measured."""
    engine = engine or StandIn()
    done = run_folder(folder, out, engine=engine, today=options.pop("today", TODAY), **options)
    return engine.asked, done


def test_a_first_night_measures_all_and_writes_the_pages(folder, out):
    asked, done = night(folder, out)
    assert sorted(asked) == sorted([ONE, TWO, THREE])
    assert (done.found, done.unchanged, dict(done.statuses)) == (3, 0, {"measured": 3})
    assert done.index.is_file() and done.redrawn and not done.needs_somebody
    for name in ("readings.csv", "clips.csv", "data/run.log", "data/matside.sqlite"):
        assert (out / name).is_file()


def test_a_second_night_does_nothing_and_draws_nothing(folder, out):
    night(folder, out)
    before = contents(out)
    asked, done = night(folder, out)
    assert asked == [] and done.unchanged == 3 and not done.redrawn
    assert contents(out) == before


def test_a_made_up_night_counts_as_done_so_that_the_benchmark_of_an_unchanged_one_is_true(tmp_path):
    from pipeline.bench.made_up_nights import fill

    fill(tmp_path / "clips", tmp_path / "out", clips=4, readings_a_clip=3)
    asked, done = night(tmp_path / "clips", tmp_path / "out")
    assert asked == [] and done.unchanged == 4


def test_a_new_tolerance_draws_again_and_opens_no_clip(folder, out, monkeypatch):
    night(folder, out)
    monkeypatch.setattr("pipeline.clips.content.content_hash", lambda _: pytest.fail("a clip was read"))
    asked, done = night(folder, out, tolerances=["published"])
    assert asked == [] and done.redrawn


def test_pages_that_are_gone_are_drawn_again(folder, out):
    night(folder, out)
    (out / "index.html").unlink()
    assert night(folder, out)[1].redrawn


def test_new_settings_measure_again_and_so_does_a_told_skill_but_only_its_clip(folder, out):
    night(folder, out)
    assert len(night(folder, out, settings=Settings(landmarks=LandmarkSettings(find_per_second=8.0)))[0]) == 3
    night(folder, out)
    (folder / "clips.csv").write_text(f"clip,skill\n{ONE},cartwheel\n")
    assert night(folder, out)[0] == [ONE]
    (folder / "roster.csv").write_text(ROSTER.replace("HE-02,Herons,right", "HE-02,Herons,left"))
    assert night(folder, out)[0] == [TWO]
    assert len(night(folder, out, again=True)[0]) == 3


def test_a_changed_file_is_measured_again(folder, out):
    night(folder, out)
    (folder / TWO).write_bytes(b"filmed anew")
    assert night(folder, out)[0] == [TWO]
    assert len(rows_of(out)) == 3


def test_a_moved_clip_keeps_its_results(folder, out):
    night(folder, out)
    before = contents(out)
    (folder / "week 9").mkdir()
    (folder / ONE).rename(folder / "week 9" / ONE)
    assert night(folder, out)[0] == []
    assert sorted(rows_of(out)) == sorted([f"week 9/{ONE}", TWO, THREE])
    assert [r for r in contents(out) if r[0] > 1] == [r for r in before if r[0] > 1]


def test_last_weeks_clips_stay_when_their_files_are_gone(folder, out):
    night(folder, out)
    (folder / ONE).unlink()
    _, done = night(folder, out)
    assert done.found == 2 and len(rows_of(out)) == 3


def test_a_phone_that_counts_from_one_again_replaces_nothing(tmp_path, out):
    for week, athlete, day in (("week 9", "OT-01", "2026-03-02"), ("week 10", "HE-02", "2026-03-09")):
        (tmp_path / week).mkdir()
        folder = clips_folder(tmp_path / week, ())
        (folder / "IMG_0001.MOV").write_bytes(week.encode())
        (folder / "clips.csv").write_text(f"clip,athlete,date\nIMG_0001.MOV,{athlete},{day}\n")
        assert len(night(folder, out)[0]) == 1
        assert night(folder, out)[0] == []
    names = sorted(rows_of(out))
    assert len(names) == 2 and names[0] == "IMG_0001.MOV" and names[1].startswith("IMG_0001~")
    assert night(tmp_path / "week 9" / "clips", out)[0] == []


def test_faults_become_rows_and_what_may_pass_is_tried_the_next_night(folder, out):
    faults = {
        ONE: Outcome(None, fault="the worker process crashed (SIGSEGV)", tries=2),
        TWO: Outcome(None, fault=f"{TWO}: not a video", lasting=True),
    }
    _, done = night(folder, out, StandIn(faults))
    assert rows_of(out)[ONE] == ("failed", "the worker process crashed (SIGSEGV) (tried 2 times)")
    assert rows_of(out)[TWO] == ("failed", "not a video")
    assert rows_of(out)[THREE][0] == "measured" and done.needs_somebody
    assert night(folder, out)[0] == [ONE]


def test_clips_nobody_has_assigned_are_asked_for_once_and_then_measured(folder, out):
    (folder / "IMG_1.MOV").write_bytes(b"whose")
    asked, done = night(folder, out)
    assert "IMG_1.MOV" not in asked and done.asked == folder / "clips.csv" and done.needs_somebody
    assert rows_of(out)["IMG_1.MOV"] == ("needs you", "whose clip is it? Fill in athlete in clips.csv")
    text = (folder / "clips.csv").read_text()
    assert night(folder, out)[1].asked and (folder / "clips.csv").read_text() == text
    (folder / "clips.csv").write_text(text.replace("IMG_1.MOV,,", "IMG_1.MOV,OT-01,2026-03-02"))
    assert night(folder, out)[0] == ["IMG_1.MOV"]


def test_without_consent_a_clip_is_not_measured_and_what_was_is_kept_and_said(folder, out):
    night(folder, out)
    (folder / "OT-01_2026-03-09_1.mp4").write_bytes(b"new")
    late = date(2028, 1, 1)
    asked, done = night(folder, out, today=late)
    assert asked == []
    assert rows_of(out)["OT-01_2026-03-09_1.mp4"] == ("skipped", "not opened: consent for OT-01 ran out on 2027-01-01")
    assert rows_of(out)[ONE][0] == "measured"
    assert any(ONE in notice and "matside forget OT-01" in notice for notice in done.notices)


def test_consent_that_runs_out_is_said_once_for_all_of_an_athletes_clips_and_none_is_decoded(tmp_path, out, monkeypatch):
    folder = clips_folder(tmp_path, [f"OT-01_2026-03-02_{n}.mp4" for n in range(5)])
    night(folder, out)
    before = contents(out)
    for opened in ("probe", "frames", "glimpses", "recorded_on"):
        monkeypatch.setattr(f"pipeline.clips.video.{opened}", lambda *_, **__: pytest.fail("a clip was decoded"))
    monkeypatch.setattr("pipeline.clips.content.content_hash", lambda _: pytest.fail("a clip was read"))
    asked, done = night(folder, out, today=date(2028, 1, 1), again=True)
    assert asked == [] and contents(out) == before
    said = [notice for notice in done.notices if "consent" in notice]
    assert len(said) == 1 and said[0].startswith(
        "5 clips, first OT-01_2026-03-02_0.mp4: not opened: consent for OT-01 ran out on 2027-01-01"
    )
    assert said[0].endswith("what was measured before is kept until `matside forget OT-01`")
    assert said[0] in (out / "data" / "run.log").read_text("utf-8")


def test_who_waits_past_midnight_is_asked_about_consent_again(folder, out, monkeypatch):
    """The day counts from when the run may begin, not from when it began to wait."""
    import pipeline.batch.run as run_module

    class Clock(date):
        day = date(2027, 1, 1)

        @classmethod
        def today(cls):
            return cls.day

    def midnight(*_, **__):
        Clock.day = date(2027, 1, 2)
        return only_run(out / "data")

    monkeypatch.setattr(run_module, "date", Clock)
    monkeypatch.setattr(run_module, "only_run", midnight)
    engine = StandIn()
    run_folder(folder, out, engine=engine)
    assert engine.asked == [] and {status for status, _ in rows_of(out).values()} == {"skipped"}


def test_a_disk_that_cannot_be_read_tonight_loses_no_results(folder, out, monkeypatch):
    night(folder, out)
    before = contents(out)
    (folder / "OT-01_2026-03-09_1.mp4").write_bytes(b"new")

    def broken(path):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("pipeline.clips.content.content_hash", broken)
    os.utime(folder / ONE, (1, 1))  # looks changed, so that it is read again
    asked, done = night(folder, out)
    assert asked == [] and [row for row in contents(out) if "2026-03-09" not in str(row)] == before
    assert any(ONE in notice and "Input/output error" in notice and "is kept" in notice for notice in done.notices)
    assert done.statuses["failed"] == 2 and done.needs_somebody


def test_a_typing_mistake_in_clips_csv_loses_no_results(folder, out):
    night(folder, out)
    before = contents(out)
    (folder / "clips.csv").write_text(f"clip,skill\n{ONE},handstand\n")
    asked, done = night(folder, out)
    assert asked == [] and contents(out) == before and done.statuses["needs you"] == 1
    assert any("column skill" in notice and "is kept" in notice for notice in done.notices)
    (folder / "clips.csv").write_text(f"clip,athlete\n{ONE},OT-01\n{ONE},HE-02\n")
    night(folder, out)
    assert rows_of(out)[ONE][0] == "needs you", "whose it is, is in doubt: it is nobody's until that is settled"
    assert not [row for row in contents(out) if ONE in row and row[0] > 0]


def test_a_clip_that_is_new_and_not_opened_is_said_at_once_and_once(folder, out):
    for name in ("OT-1_2026-03-09_1.mp4", "OT-1_2026-03-09_2.mp4"):
        (folder / name).write_bytes(name.encode())
    said = [notice for notice in night(folder, out)[1].notices if "not on the roster" in notice]
    assert said == ["OT-1_2026-03-09_1.mp4 and 1 more: not opened: OT-1 is not on the roster"]
    assert not [notice for notice in night(folder, out)[1].notices if "OT-1_" in notice]


def test_the_longest_clips_come_first(folder, out):
    """So that the night does not end with one worker on the longest clip while the others wait."""
    (folder / TWO).write_bytes(b"x" * 1000)
    (folder / THREE).write_bytes(b"x" * 500)
    assert night(folder, out)[0] == [TWO, THREE, ONE]


def test_the_clock_may_be_wrong(folder, out):
    """A clock set back before the clips were made changes nothing that was done."""
    night(folder, out)
    before = contents(out)
    assert night(folder, out, today=date(1980, 1, 1))[0] == []
    assert contents(out) == before


def test_a_log_line_stays_one_line(folder, out):
    name = "OT-01_2026-03-02_9\n2026-01-01 00:00:00 INFO forged.mp4"
    (folder / name).write_bytes(b"x")
    night(folder, out)
    lines = (out / "data" / "run.log").read_text("utf-8").splitlines()
    assert not any(line.startswith("2026-01-01") for line in lines)
    assert any("\\n2026-01-01" in line for line in lines)


def test_logging_is_left_as_it_was(folder, out):
    logger = logging.getLogger("pipeline")
    before = (logger.level, list(logger.handlers))
    night(folder, out)
    assert (logger.level, list(logger.handlers)) == before


def test_a_second_run_says_so_or_waits(folder, out):
    with only_run(out / "data"):
        with pytest.raises(AnotherRun, match="another run is at work here since") as caught:
            night(folder, out)
        assert caught.value.exit_code == 5
        waiting = threading.Thread(target=night, args=(folder, out), kwargs={"wait": True})
        waiting.start()
        time.sleep(0.5)
        assert waiting.is_alive()
    waiting.join(60)
    assert len(rows_of(out)) == 3


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


def test_the_output_may_lie_inside_the_clips_folder(folder):
    night(folder, folder / "reports")
    assert night(folder, folder / "reports")[0] == []


def test_real_workers_on_files_that_are_no_clips(tmp_path, out):
    """The whole way, decoding and looking included: a truncated, an empty, an audio-only and a text file, and one of nobody."""
    folder = clips_folder(tmp_path, ())
    film(folder / "OT-01_2026-03-02_1.mp4")
    whole = film(tmp_path / "whole.mp4").read_bytes()
    (folder / "OT-01_2026-03-02_2.mp4").write_bytes(whole[: len(whole) // 2])
    (folder / "OT-01_2026-03-02_3.mp4").touch()
    record_sound(folder / "OT-01_2026-03-02_4.mp4")
    (folder / "OT-01_2026-03-02_5.mp4").write_text("no video\n" * 100)
    done = run_folder(folder, out, today=TODAY, workers=1)
    rows = {clip[-5]: row for clip, row in rows_of(out).items()}
    assert rows["1"][0] == "nothing found" and "nobody was found" in rows["1"][1]
    assert [rows[n][0] for n in "2345"] == ["failed"] * 4
    for number, words in zip("2345", ("not a video", "empty", "only sound", "not a video"), strict=True):
        assert words in rows[number][1] or "cut off" in rows[number][1]
    assert done.needs_somebody
    with Store(out / "data" / "matside.sqlite") as store:
        assert len(store.readings()) == 0
    table = (out / "clips.csv").read_text().splitlines()
    assert len(table) == 6, "a header and one row a clip"
