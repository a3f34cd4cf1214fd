"""Clips that may not or cannot be opened tonight: said once, nobody without consent looked at, and what was measured before is kept."""

import os
from datetime import date

import pytest

from pipeline.batch.lock import only_run
from pipeline.batch.run import run_folder
from tests.batch.nights import ONE, StandIn, clips_folder, contents, night, rows_of


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
