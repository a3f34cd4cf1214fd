"""Who, when, and whether a clip may be opened, over whole folders."""

import os
import unicodedata
from datetime import UTC, date, datetime

import pytest

from pipeline.clips.clip_list import ask
from pipeline.clips.content import ContentHashes
from pipeline.clips.intake import NEEDS_YOU, READY, SKIPPED, take_in
from pipeline.clips.naming import athlete_in_name, date_in_name
from pipeline.clips.roster import Roster
from pipeline.errors import MatsideError
from pipeline.vocabulary import Setting, Skill
from tests.clips.filming import film
from tests.clips.folders import ROSTER, TODAY, put, taken

# ---- naming ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "athlete", "day"),
    [
        ("OT-01_2026-03-02_3.mp4", "OT-01", date(2026, 3, 2)),
        ("week 9/OT-01_2026-03-02.MOV", "OT-01", date(2026, 3, 2)),
        ("OT-01_20260302_3.mp4", "OT-01", date(2026, 3, 2)),
        ("OT-01_2026-03-02_3 (1).mp4", "OT-01", date(2026, 3, 2)),
        ("IMG_1234.MOV", "", None),
        ("IMG_20260302_171500.jpg.mp4", "", date(2026, 3, 2)),
        ("VID_20260302_171500.mp4", "", date(2026, 3, 2)),
        ("PXL_20260302_171500123.mp4", "", date(2026, 3, 2)),
        ("20260302_171500.mp4", "", date(2026, 3, 2)),
        ("OT-01_2026-13-45_3.mp4", "OT-01", None),
        ("OT-01.mp4", "", None),
        ("1234567890123.mp4", "", None),
        ("OT-01_2026-03-021.mp4", "", None),
    ],
)
def test_names(name, athlete, day):
    assert athlete_in_name(name, Roster(None)) == athlete
    assert date_in_name(name) == day


def test_a_name_that_begins_with_a_code_on_the_roster_names_its_clip(folder, tmp_path):
    names = ("OT-01 IMG_1234.MOV", "ot-01_lunge.mp4", "CU-03 IMG_1235.MOV", "ZZ-09 IMG_1.MOV", "OT-01-2 x.mp4", "IMG_9.MOV", "OT-01.mp4")
    for name in names:
        put(folder, name)
    clips = taken(folder, tmp_path)
    assert [clips[name].athlete for name in names] == ["OT-01", "OT-01", "CU-03", "", "", "", ""]
    assert clips["CU-03 IMG_1235.MOV"].status == SKIPPED and not clips["CU-03 IMG_1235.MOV"].content, (
        "nobody is shown a child without consent"
    )


def test_a_folder_named_by_a_code_on_the_roster_names_its_clips(folder, tmp_path):
    put(folder, "ot-01/VID_20260302_1.mp4")
    put(folder, "ZZ-09/VID_20260302_2.mp4")
    got = taken(folder, tmp_path)
    assert (got["ot-01/VID_20260302_1.mp4"].athlete, got["ot-01/VID_20260302_1.mp4"].status) == ("OT-01", READY)
    assert got["ZZ-09/VID_20260302_2.mp4"].status == NEEDS_YOU


# ---- consent -----------------------------------------------------------------------------------------------------------


def test_without_consent_not_even_the_bytes_are_read(folder, tmp_path, monkeypatch):
    put(folder, "CU-03_2026-03-02_1.mp4")
    put(folder, "ZZ-09_2026-03-02_1.mp4")
    put(folder, "IMG_1.MOV")
    monkeypatch.setattr(ContentHashes, "of", lambda *_: pytest.fail("a clip without consent was read"))
    got = taken(folder, tmp_path)
    assert got["CU-03_2026-03-02_1.mp4"].reason == "not opened: consent for CU-03 ran out on 2026-03-01"
    assert got["ZZ-09_2026-03-02_1.mp4"].reason == "not opened: ZZ-09 is not on the roster"
    assert [got[n].status for n in ("CU-03_2026-03-02_1.mp4", "ZZ-09_2026-03-02_1.mp4", "IMG_1.MOV")] == [SKIPPED, SKIPPED, NEEDS_YOU]


def test_no_roster_nothing_runs(folder, tmp_path):
    (folder / "roster.csv").unlink()
    with pytest.raises(MatsideError, match=r"roster\.csv: no roster"):
        taken(folder, tmp_path)


# ---- clips.csv ---------------------------------------------------------------------------------------------------------


def test_clips_csv_comes_first_then_the_name_then_the_camera(folder, tmp_path):
    put(folder, "OT-01_2026-03-02_1.mp4")
    film(folder / "phone/IMG_1.mp4", made_on=datetime(2026, 2, 27, 12, tzinfo=UTC))
    (folder / "clips.csv").write_text(
        "clip,athlete,date,skill,setting\nOT-01_2026-03-02_1.mp4,HE-02,2026-03-01,Backward roll,routine\nphone\\IMG_1.mp4,OT-01,,,\n"
    )
    got = taken(folder, tmp_path)
    one, two = got["OT-01_2026-03-02_1.mp4"], got["phone/IMG_1.mp4"]
    assert (one.athlete, one.cohort, one.date, one.skill, one.setting) == (
        "HE-02",
        "Herons",
        date(2026, 3, 1),
        Skill.BACKWARD_ROLL,
        Setting.ROUTINE,
    )
    assert (two.athlete, two.date, two.status) == ("OT-01", date(2026, 2, 27), READY)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("IMG_1.MOV,OT-01,2/3/2026,,", "row 2, column date: expected a date such as 2026-03-02, but came '2/3/2026'"),
        (
            "IMG_1.MOV,OT-01,2026-03-02,somersault,",
            "row 2, column skill: expected lunge, loaded lunge, cartwheel, backward roll, shoulder stand",
        ),
        ("IMG_1.MOV,OT-01,2026-03-02,,alone at last", "row 2, column setting: expected alone or routine"),
        ("IMG_1.MOV,OT-01,2026-03-02,,\nIMG_1.MOV,HE-02,2026-03-02,,", "rows 2 and 3: the clip is there twice"),
    ],
)
def test_a_wrong_row_asks_for_its_clip_only(folder, tmp_path, row, words):
    put(folder, "IMG_1.MOV")
    put(folder, "OT-01_2026-03-02_1.mp4")
    (folder / "clips.csv").write_text("clip,athlete,date,skill,setting\n" + row + "\n")
    got = taken(folder, tmp_path)
    assert got["IMG_1.MOV"].status == NEEDS_YOU and words in got["IMG_1.MOV"].reason
    assert got["OT-01_2026-03-02_1.mp4"].status == READY


def test_a_bare_name_means_a_clip_only_if_it_is_the_only_one(folder, tmp_path):
    put(folder, "a/IMG_1.MOV")
    put(folder, "b/IMG_2.MOV")
    put(folder, "c/IMG_2.MOV", b"another")
    (folder / "clips.csv").write_text("clip,athlete,date\nIMG_1.MOV,OT-01,2026-03-02\nIMG_2.MOV,OT-01,2026-03-02\n")
    got = taken(folder, tmp_path)
    assert [got[n].status for n in sorted(got)] == [READY, NEEDS_YOU, NEEDS_YOU]


def test_rows_without_a_clip_are_noticed(folder, tmp_path):
    (folder / "clips.csv").write_text("clip,athlete\nIMG_9.MOV,OT-01\n")
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
    assert got.notices == ("clips.csv, row 2, column clip: there is no clip 'IMG_9.MOV' in the folder",)


def test_skip_is_not_asked_for_again(folder, tmp_path):
    put(folder, "IMG_1.MOV")
    (folder / "clips.csv").write_text("clip,athlete\nIMG_1.MOV,skip\n")
    got = taken(folder, tmp_path)["IMG_1.MOV"]
    assert (got.status, got.reason) == (SKIPPED, "left out: clips.csv says skip")


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (None, b"clip,athlete,date,skill,setting\nIMG_1.MOV,,,,\n"),
        (b"clip,athlete\nmine.mp4,OT-01", b"clip,athlete\nmine.mp4,OT-01\nIMG_1.MOV,\n"),
        (b"\xef\xbb\xbfathlete;clip;remark\r\nOT-01;mine.mp4;\"a;b\"\r\n", b"\xef\xbb\xbfathlete;clip;remark\r\nOT-01;mine.mp4;\"a;b\"\r\n;IMG_1.MOV;\n"),
        ("clip\tathlete\nmine.mp4\tOT-01\n".encode("utf-16"), "clip\tathlete\nmine.mp4\tOT-01\nIMG_1.MOV\t\n".encode("utf-16")),
    ],
    ids=["no file yet", "no line end", "semicolons", "UTF-16"],
)  # fmt: skip
def test_asking_adds_rows_and_leaves_the_coachs_bytes_alone(folder, tmp_path, before, after):
    put(folder, "IMG_1.MOV")
    if before is not None:
        (folder / "clips.csv").write_bytes(before)
    for _ in range(2):  # the second time, all is asked already
        got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
        ask(got.clip_list, got.gaps)
    assert (folder / "clips.csv").read_bytes() == after


def test_a_folder_that_may_not_be_written_is_asked_beside_the_pages_and_answered_there(folder, tmp_path, monkeypatch):
    put(folder, "IMG_1.MOV")
    put(folder, "IMG_2.MOV")
    (tmp_path / "out").mkdir()
    (folder / "clips.csv").write_text("clip,athlete,date\nIMG_2.MOV,OT-01,2026-03-02\n")
    writable = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: path != folder and writable(path, mode))
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
    asked = ask(got.clip_list, got.gaps)
    assert asked == tmp_path / "out" / "clips_to_fill_in.csv"
    assert asked.read_text() == "clip,athlete,date,skill,setting\nIMG_1.MOV,,,,\n"
    asked.write_text("clip,athlete,date,skill,setting\nIMG_1.MOV,HE-02,2026-03-01,,\nIMG_2.MOV,HE-02,,,\n")
    answered = taken(folder, tmp_path)
    assert {name: (c.status, c.athlete) for name, c in answered.items()} == {"IMG_1.MOV": (READY, "HE-02"), "IMG_2.MOV": (READY, "OT-01")}


def test_rows_that_the_coach_wrote_while_the_clips_were_worked_on_are_not_asked_again_nor_lost(folder, tmp_path):
    put(folder, "IMG_1.MOV")
    put(folder, "IMG_2.MOV")
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
    written = "clip;athlete;date\nIMG_2.MOV;OT-01;2026-03-02\n"  # there was no file when the run began
    (folder / "clips.csv").write_text(written)
    assert ask(got.clip_list, got.gaps) == folder / "clips.csv"
    assert (folder / "clips.csv").read_text() == written + "IMG_1.MOV;;\n"
    assert ask(got.clip_list, got.gaps) == folder / "clips.csv", "all has been asked, there"
    assert (folder / "clips.csv").read_text() == written + "IMG_1.MOV;;\n"


def test_a_table_that_is_half_saved_when_there_is_something_to_ask_is_left_alone(folder, tmp_path):
    put(folder, "IMG_1.MOV")
    (tmp_path / "out").mkdir()
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
    (folder / "clips.csv").write_text("cl")
    assert ask(got.clip_list, got.gaps) == tmp_path / "out" / "clips_to_fill_in.csv"
    assert (folder / "clips.csv").read_text() == "cl"


HOSTILE = [
    "=cmd|' /C calc'!A1.mp4", "+1+1.mp4", "@SUM(A1).mp4", "-2.mp4", "<img src=x onerror=alert(1)>.mp4", "a\"b'c.mp4", "two\nlines.mp4",
    "x" * 240 + ".mp4", "\u202egnp.4pm.mp4", "semi;colon,comma\ttab.mp4", " leading space.mp4", "%2e%2e%2f.mp4", "{{7*7}}.mp4", "d\u0301e\u0301.mp4",
]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_comes_back_from_the_table_as_it_was(folder, tmp_path, name):
    put(folder, name)
    for status in (NEEDS_YOU, READY):
        got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "c.json"))
        assert [unicodedata.normalize("NFC", c.name) for c in got.clips] == [unicodedata.normalize("NFC", name)]
        assert got.clips[0].status == status
        table = ask(got.clip_list, got.gaps)
        if table:
            text = table.read_text("utf-8")
            assert not any(line.startswith(("=", "+", "-", "@")) for line in text.splitlines()), "a spreadsheet would run it"
            table.write_text(text.replace(",,,,\n", ",OT-01,2026-03-02,,\n"), "utf-8")


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_a_name_that_is_not_text_gets_a_name_that_is(folder, tmp_path):
    try:
        put(folder, os.fsdecode(b"caf\xe9.mp4"))
    except OSError:
        pytest.skip("this file system takes only UTF-8 names")
    assert list(taken(folder, tmp_path)) == ["caf\\xe9.mp4"]


# ---- doubt -------------------------------------------------------------------------------------------------------------


def test_a_wrong_row_opens_no_clip_of_somebody_without_consent(folder, tmp_path):
    """A typing mistake beside CU-03's code must not turn her clip into one that anybody may be shown."""
    for name in ("IMG_1.MOV", "CU-03_2026-03-02_1.mp4", "IMG_2.MOV", "IMG_3.MOV"):
        put(folder, name)
    rows = "IMG_1.MOV,CU-03,yesterday,,\nCU-03_2026-03-02_1.mp4,,,handstand,\nIMG_2.MOV,OT-01,yesterday,,\nIMG_3.MOV,,yesterday,,\n"
    (folder / "clips.csv").write_text(f"clip,athlete,date,skill,setting\n{rows}")
    clips = taken(folder, tmp_path)
    for name in ("IMG_1.MOV", "CU-03_2026-03-02_1.mp4"):
        assert clips[name].status == SKIPPED and clips[name].reason.startswith("not opened: consent for CU-03 ran out")
        assert "clips.csv, row" in clips[name].reason and not clips[name].content
    assert (clips["IMG_2.MOV"].status, clips["IMG_2.MOV"].athlete) == (NEEDS_YOU, "OT-01"), "whose it is needs no picture"
    assert (clips["IMG_3.MOV"].status, clips["IMG_3.MOV"].athlete) == (NEEDS_YOU, "")


def test_a_clip_of_two_children_is_nobodys_until_it_is_cut(folder, tmp_path):
    put(folder, "IMG_1.MOV")
    put(folder, "IMG_2.MOV")
    (folder / "clips.csv").write_text("clip,athlete\nIMG_1.MOV,OT-01\nIMG_1.MOV,HE-02\nIMG_2.MOV,OT-01\nIMG_2.MOV,CU-03\n")
    clips = taken(folder, tmp_path)
    assert (clips["IMG_1.MOV"].status, clips["IMG_1.MOV"].athlete) == (NEEDS_YOU, "") and "cut it in two" in clips["IMG_1.MOV"].reason
    assert clips["IMG_2.MOV"].status == SKIPPED and "consent for CU-03 ran out" in clips["IMG_2.MOV"].reason
    assert not any(clip.content for clip in clips.values())


def test_one_video_said_to_be_of_two_athletes_is_measured_for_neither(folder, tmp_path):
    put(folder, "OT-01_2026-03-02_1.mp4", b"the same")
    put(folder, "HE-02_2026-03-02_1.mp4", b"the same")
    clips = taken(folder, tmp_path)
    for mine, other in (("OT-01", "HE-02"), ("HE-02", "OT-01")):
        clip = clips[f"{mine}_2026-03-02_1.mp4"]
        assert clip.status == NEEDS_YOU and f"of {other} and this of {mine}" in clip.reason and "cut it in two" in clip.reason


def test_a_folder_of_somebody_whose_row_is_wrong_is_not_anybodys(folder, tmp_path):
    (folder / "roster.csv").write_text(ROSTER + "OT-09,Otters,left,soon\n")
    put(folder, "OT-09/IMG_1.MOV")
    clip = taken(folder, tmp_path)["OT-09/IMG_1.MOV"]
    assert clip.status == SKIPPED and "column consent_until" in clip.reason and not clip.content
