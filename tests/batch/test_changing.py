"""A clip that changes, goes, or is written to while the night is at work."""

from __future__ import annotations

import errno
import os

import pytest

from pipeline.batch import disk
from pipeline.batch.process import Task, process_clip
from pipeline.batch.run import run_folder
from pipeline.clips.content import content_hash, stamp_of
from pipeline.errors import MatsideError
from pipeline.landmarks import cache
from pipeline.landmarks.settings import LandmarkSettings
from tests.batch.nights import TODAY, StandIn, clips_folder
from tests.clips.filming import film


class LookedAt(MatsideError):
    """The end of following in these tests."""


@pytest.fixture
def task(tmp_path):
    clip = film(tmp_path / "OT-01_2026-03-02_1.mp4")
    return Task(
        clip.name, clip, content_hash(clip), "OT-01", "Otters", "2026-03-02", LandmarkSettings(), tmp_path / "data", stamp=stamp_of(clip)
    )


def following(monkeypatch, task, meanwhile):
    """The track is written as following would, something happens to the file, and that is all."""
    file = cache.cache_file(task.content, task.landmarks, task.data / "landmarks")

    def follow(*args, **options):
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(b"a track")
        meanwhile(task.path)
        raise LookedAt("looked at")

    monkeypatch.setattr(cache, "cached_track", follow)
    return file


def grow(path):
    with open(path, "ab") as file:
        file.write(b"more")


def replace(path):
    other = path.with_name("other")
    other.write_bytes(path.read_bytes())
    os.utime(other, ns=(0, 0))
    os.replace(other, path)


@pytest.mark.parametrize("meanwhile", [grow, replace, os.unlink], ids=["still copied", "replaced", "gone"])
def test_nothing_of_a_clip_that_changed_meanwhile_is_kept_under_the_name_of_what_it_was(task, monkeypatch, meanwhile):
    file = following(monkeypatch, task, meanwhile)
    with pytest.raises(MatsideError, match="the file changed, or went, after this run had begun") as told:
        process_clip(task)
    assert not told.value.lasting, "the next run tries again"
    assert not file.exists()


def test_a_track_from_an_earlier_night_is_not_touched_by_a_change(task, monkeypatch):
    file = following(monkeypatch, task, grow)
    file.parent.mkdir(parents=True)
    file.write_bytes(b"of an earlier night")
    with pytest.raises(MatsideError, match="the file changed"):
        process_clip(task)
    assert file.exists()


def test_a_clip_that_stays_as_it_is_says_what_it_has_to_say(task, monkeypatch):
    file = following(monkeypatch, task, lambda path: os.utime(path, ns=(0, task.stamp[1] + 1_500_000_000)))  # a disk rounds times
    with pytest.raises(LookedAt):
        process_clip(task)
    assert file.exists()


def test_a_night_knows_each_clip_by_what_it_was_when_its_content_was_read(tmp_path):
    folder, engine = clips_folder(tmp_path), StandIn()
    run_folder(folder, tmp_path / "out", engine=engine, today=TODAY)
    assert {name: task.stamp for name, task in engine.tasks.items()} == {name: stamp_of(folder / name) for name in engine.tasks}


def test_a_clip_without_a_name_that_is_moved_during_the_night_does_not_cost_the_pages(tmp_path):
    folder = clips_folder(tmp_path)
    (folder / "IMG_1.mp4").write_bytes(b"whose is it?")
    engine = StandIn()

    def moving(tasks, *args, **options):
        (folder / "IMG_1.mp4").unlink(missing_ok=True)
        yield from engine(tasks, *args, **options)

    done = run_folder(folder, tmp_path / "out", engine=moving, today=TODAY)
    assert dict(done.statuses) == {"measured": 3, "needs you": 1}
    assert "No picture of it can be shown" in done.unassigned.read_text("utf-8")


def test_pages_that_may_not_be_written_are_told_in_one_line_and_cost_no_result(tmp_path, monkeypatch):
    folder, out = clips_folder(tmp_path), tmp_path / "out"

    def refused(*args, **options):
        raise OSError(errno.EROFS, "Read-only file system", str(out / "index.html"))

    with monkeypatch.context() as patched:
        patched.setattr("pipeline.batch.pages.write_pages", refused)
        with pytest.raises(MatsideError, match=r"index.html: cannot be written.*what is done stays done"):
            run_folder(folder, out, engine=StandIn(), today=TODAY)
    engine = StandIn()
    assert run_folder(folder, out, engine=engine, today=TODAY).unchanged == 3 and not engine.asked


@pytest.mark.parametrize("name", ["data/run.log", "data/contents.json", "data/pages.drawn", "trends", "weeks", "index.html", "clips.csv"])
def test_what_is_in_the_way_is_told_in_one_line_and_costs_no_result(tmp_path, name):
    folder, out = clips_folder(tmp_path), tmp_path / "out"
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    there = out / name
    was_folder = there.is_dir()
    there.rename(tmp_path / "aside")
    there.touch() if was_folder else there.mkdir()
    film(folder / "OT-01_2026-03-02_77.mp4", [0.0, 0.1, 0.2])
    with pytest.raises(MatsideError) as told:
        run_folder(folder, out, engine=StandIn(), today=TODAY)
    assert str(told.value).count("\n") == 0 and there.name in str(told.value)
    there.unlink() if was_folder else there.rmdir()
    assert run_folder(folder, out, engine=StandIn(), today=TODAY).statuses == {"measured": 4}


def test_a_broken_mark_of_what_the_pages_show_draws_them_again(tmp_path):
    folder, out = clips_folder(tmp_path), tmp_path / "out"
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    (out / "data" / "pages.drawn").write_bytes(b"\xff\xfe\x00")
    assert run_folder(folder, out, engine=StandIn(), today=TODAY).redrawn
    assert not run_folder(folder, out, engine=StandIn(), today=TODAY).redrawn


def test_pages_that_may_not_be_written_are_told_before_the_night(tmp_path, monkeypatch):
    folder, out, engine = clips_folder(tmp_path), tmp_path / "out", StandIn()
    writable = os.access
    monkeypatch.setattr(disk.os, "access", lambda path, mode: path != out and writable(path, mode))
    with pytest.raises(MatsideError, match="cannot be written"):
        run_folder(folder, out, engine=engine, today=TODAY)
    assert not engine.asked


def test_a_fault_that_has_nothing_to_do_with_the_pages_shows_itself(tmp_path, monkeypatch):
    def refused(*args, **options):
        raise PermissionError(errno.EACCES, "Permission denied", "/somewhere/else")

    monkeypatch.setattr("pipeline.batch.pages.write_pages", refused)
    with pytest.raises(PermissionError):
        run_folder(clips_folder(tmp_path), tmp_path / "out", engine=StandIn(), today=TODAY)
