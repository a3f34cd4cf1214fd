"""Nights: every clip one row, nothing done twice, nothing lost."""

import logging
import threading
import time
from datetime import date

import pytest

from pipeline.batch.lock import AnotherRun, only_run
from pipeline.batch.pool import Outcome
from pipeline.batch.run import run_folder
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.settings import Settings
from pipeline.store import Store
from tests.batch.nights import ONE, ROSTER, THREE, TODAY, TWO, StandIn, clips_folder, contents, night, rows_of
from tests.clips.filming import film, record_sound


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
