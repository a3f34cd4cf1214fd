"""Which clips a folder holds, whatever else lies in it, and their content."""

import builtins
import os
import unicodedata

import pytest

from pipeline.clips.content import ContentHashes, content_hash
from pipeline.clips.intake import FAILED, NEEDS_YOU, READY, take_in
from pipeline.clips.scan import clip_name, find_clips
from pipeline.errors import MatsideError
from tests.clips.folders import TODAY, put, taken


def test_any_layout_any_capitals_and_no_hidden_files(folder):
    wanted = ["IMG_1.MOV", "a.mp4", "deep/er/b.MkV", "c.m4v", "d.avi", "e.WEBM"]
    for name in [*wanted, "._IMG_1.MOV", ".hidden/x.mp4", "notes.txt", "a.mp4.part", "clips.csv", "deep/._b.mkv", "mp4"]:
        put(folder, name)
    (folder / "folder.mp4").mkdir()
    assert sorted(clip_name(p, folder) for p in find_clips(folder)) == sorted(wanted)


def test_what_older_phones_and_cameras_write_is_taken_and_what_cannot_be_read_is_not_passed_over_in_silence(folder):
    wanted = ["alt.3gp", "00001.MTS", "b.m2ts", "c.mpg", "d.wmv"]
    for name in [*wanted, "sound.m4a", "IMG_1.HEIC", "IMG_1.AAE"]:
        put(folder, name)
    assert sorted(p.name for p in find_clips(folder)) == sorted(wanted)


@pytest.mark.parametrize("apart", ["@eaDir", "#recycle", "$RECYCLE.BIN", "System Volume Information"])
def test_what_a_disk_keeps_for_itself_and_its_bin_are_not_clips(folder, apart):
    put(folder, f"Montag/{apart}/S-1-5/$R1.mp4")
    put(folder, "Montag/1.mp4")
    assert [clip_name(p, folder) for p in find_clips(folder)] == ["Montag/1.mp4"]


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_links_in_a_circle_or_to_nowhere_cost_one_row_each(folder, tmp_path):
    (folder / "OT-01_2026-03-01_1.mp4").symlink_to("OT-01_2026-03-01_1.mp4")
    (folder / "OT-01_2026-03-01_2.mp4").symlink_to("gone.mp4")
    (folder / "again").symlink_to(".")
    (folder / "folder.mp4").symlink_to(".")
    (folder / "OT-01_2026-03-01_4.mp4").symlink_to(put(tmp_path, "elsewhere.mp4"))
    got = taken(folder, tmp_path)
    assert {name: c.status for name, c in got.items()} == {
        "OT-01_2026-03-01_1.mp4": FAILED, "OT-01_2026-03-01_2.mp4": FAILED, "OT-01_2026-03-01_4.mp4": READY,
    }  # fmt: skip
    assert all(c.reason.startswith("cannot be read (") for c in got.values() if c.status == FAILED)


def test_a_table_whose_first_line_tells_excel_the_separator(folder, tmp_path):
    put(folder, "OT-01_2026-03-02_1.mp4")
    (folder / "roster.csv").write_text(
        "sep=;\nathlete;cohort;lead_side;consent_until\nOT-01;Otters;left;2027-01-01\nHE-02;Herons;left;never\n"
    )
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
    assert [c.status for c in got.clips] == [READY]
    assert any("row 4" in notice for notice in got.notices), "rows are numbered as the file has them"


def test_a_row_finds_its_clip_however_a_mac_spells_the_umlaut(folder, tmp_path):
    """File names in decomposed letters (Apple, Technical Q&A QA1173), the table as a spreadsheet saves it: composed."""
    put(folder, unicodedata.normalize("NFD", "Jürgens Übung.mp4"))
    (folder / "clips.csv").write_text(
        "clip,athlete,date\n" + unicodedata.normalize("NFC", "Jürgens Übung.mp4") + ",OT-01,2026-03-02\n", "utf-8"
    )
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
    assert [c.status for c in got.clips] == [READY] and not got.notices and not got.gaps


def test_clips_that_are_still_in_the_cloud_are_said(folder, tmp_path):
    """What iCloud Drive leaves of a file that it has taken away (from memory): a hidden file named .NAME.icloud."""
    for name in ("Montag/.IMG_2.MOV.icloud", ".IMG_1.MOV.icloud", ".notes.txt.icloud"):
        put(folder, name)
    (folder / "clips.csv").write_text("clip,athlete\nMontag/IMG_2.MOV,OT-01\n")
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
    (notice,) = got.notices
    assert notice.startswith("2 clips, first IMG_1.MOV: still in iCloud")


def test_the_output_folder_is_left_out(folder):
    put(folder, "a.mp4")
    put(folder, "reports/data/b.mp4")
    assert [p.name for p in find_clips(folder, leave_out=[folder / "reports"])] == ["a.mp4"]


def test_what_earlier_runs_left_among_the_clips_is_no_clip(folder):
    """Pages made with another --out, or moved since: their moving pictures are not filmed again."""
    for made in ("week 9/data", "data"):
        (folder / made / "pictures").mkdir(parents=True)
        (folder / made / "matside.sqlite").touch()
        (folder / made / "pictures" / "OT-01_2026-03-02_1a2b3c4d_1.mp4").write_bytes(b"x")
    put(folder, "a.mp4")
    put(folder, "week 9/b.mp4")
    assert [p.name for p in find_clips(folder)] == ["a.mp4", "b.mp4"]


def test_no_folder(tmp_path):
    with pytest.raises(MatsideError, match="nowhere: no such folder"):
        find_clips(tmp_path / "nowhere")


def test_a_link_in_a_circle_ends(folder):
    put(folder, "a.mp4")
    (folder / "round").symlink_to(folder, target_is_directory=True)
    assert len(find_clips(folder)) == 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has neither")
@pytest.mark.parametrize("day", ["0001-01-01", "0226-03-02", "1999-12-31", "2028-01-01", "2062-03-02", "9999-12-31"])
def test_a_year_that_cannot_be_is_asked_about_and_hides_nobody_else(folder, tmp_path, day):
    """The newest day decides which week, term and half year are shown: one digit mistyped would hide all others."""
    for name in ("IMG_1.MOV", "IMG_2.MOV"):
        put(folder, name)
    (folder / "clips.csv").write_text(f"clip,athlete,date\nIMG_1.MOV,OT-01,{day}\nIMG_2.MOV,OT-01,2027-02-01\n")
    got = taken(folder, tmp_path)
    assert (got["IMG_1.MOV"].status, got["IMG_1.MOV"].athlete) == (NEEDS_YOU, "OT-01")
    assert got["IMG_1.MOV"].reason == f"clips.csv, row 2, column date: expected a day from 2000 on and not years ahead, but came '{day}'"
    assert got["IMG_2.MOV"].status == READY, "a clock that is behind by some months is no reason"
    put(folder, f"OT-01_{'2062' if day > '2028' else '2099'}-03-02_1.mp4")
    (named,) = (clip for name, clip in taken(folder, tmp_path).items() if name.startswith("OT-01"))
    assert named.status in (NEEDS_YOU, FAILED) and named.date is None


def test_a_link_to_what_never_ends_is_a_row_and_not_an_endless_night(folder, tmp_path):
    os.mkfifo(tmp_path / "pipe")  # opening it would wait for a writer for ever, reading /dev/zero would never end
    for name, target in (("OT-01_2026-03-02_1.mp4", "/dev/zero"), ("OT-01_2026-03-02_2.mp4", tmp_path / "pipe")):
        (folder / name).symlink_to(target)
    got = taken(folder, tmp_path)
    assert len(got) == 2
    for clip in got.values():
        assert (clip.status, clip.content) == (FAILED, "") and clip.reason.startswith("cannot be read (a device or a pipe, not a file)")


def test_a_file_that_grows_faster_than_it_is_read_is_hashed_as_long_as_it_was(tmp_path, monkeypatch):
    path = put(tmp_path, "a.mp4")
    before, real = content_hash(path), builtins.open
    with real(path, "ab") as growing:

        class Slow:  # whatever is read, as much comes after it
            def __init__(self, file):
                self.file = file

            def __enter__(self):
                return self

            def __exit__(self, *_):
                self.file.close()

            def fileno(self):
                return self.file.fileno()

            def read(self, size):
                assert growing.tell() < 10_000_000, "endless"
                growing.write(b"x" * size)
                growing.flush()
                return self.file.read(size)

        monkeypatch.setattr(builtins, "open", lambda *a, **k: Slow(real(*a, **k)))
        assert content_hash(path) == before


@pytest.mark.parametrize("memory", ['{"a.mp4": [1, 2]}', "[" * 100_000, '{"a.mp4": {}}', "null", "\x00"])
def test_a_broken_memory_of_hashes_costs_time_and_nothing_else(tmp_path, memory):
    path = put(tmp_path, "a.mp4")
    os.utime(path, ns=(2, 2))
    (tmp_path / "c.json").write_text(memory.replace("[1, 2]", f"[{path.stat().st_size}, 2]"))
    assert ContentHashes(tmp_path / "c.json").of("a.mp4", path) == content_hash(path)


def test_links_to_folders_elsewhere_are_said_and_not_followed(folder, tmp_path):
    put(folder, "a_OT-01_2026-03-02.mp4")
    put(tmp_path / "phone", "b_OT-01_2026-03-02.mp4")
    (folder / "round").symlink_to(folder, target_is_directory=True)  # of itself: nothing is missing
    (folder / ".trash").symlink_to(tmp_path / "phone", target_is_directory=True)
    (tmp_path / "out").mkdir()
    (folder / "reports").symlink_to(tmp_path / "out", target_is_directory=True)
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
    assert len(got.clips) == 1 and got.notices == ()
    (folder / "Mo").mkdir()
    for name in ("Mo/phone", "phone"):
        (folder / name).symlink_to(tmp_path / "phone", target_is_directory=True)
        got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
        assert len(got.clips) == 1
    (notice,) = got.notices
    assert notice.startswith("2 links to folders elsewhere, first Mo/phone: not looked into")
    (folder / "A\n\u202ephone").symlink_to(tmp_path / "phone", target_is_directory=True)
    (folder / ".two\nlines.MOV.icloud").touch()
    for notice in take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json")).notices:
        assert "\\n" in notice and "\n" not in notice and "\u202e" not in notice
