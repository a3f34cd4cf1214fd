"""The roster: every wrong cell is told by file, row, column, what was expected and what came; nobody slips through."""

from datetime import date

import pytest

from pipeline.clips.roster import load_roster, read_date
from pipeline.errors import MatsideError
from pipeline.vocabulary import Side

TODAY = date(2026, 3, 2)
HEAD = "athlete,cohort,lead_side,consent_until\n"


def roster(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "roster.csv"
    path.write_bytes(text.encode(encoding))
    return load_roster(path)


def test_a_good_roster(tmp_path):
    got = roster(tmp_path, HEAD + "OT-01,Otters,left,2026-12-31\nHE-02,Herons,,2026-03-02\n")
    assert got.problems == ()
    one = got.find("ot-01")
    assert (one.athlete, one.cohort, one.lead_side, one.consent_until) == ("OT-01", "Otters", Side.LEFT, date(2026, 12, 31))
    assert got.find("HE-02").lead_side is Side.NONE
    assert got.refusal("OT-01", TODAY) == "" and got.refusal("HE-02", TODAY) == "", "the last day still counts"


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("\ufeff" + HEAD + "OT-01,Otters,left,2026-12-31\n", "utf-8"),
        ("athlete;cohort;lead_side;consent_until\r\nOT-01;Otters;left;31.12.2026\r\n", "utf-8"),
        ("Athlete\tCohort\tLead side\tConsent until\tnotes\nOT-01\tOtters\tL\t2026/12/31\tfine\n", "utf-16"),
        ("\n\n" + HEAD + ",,,\nOT-01,Otters,LEFT,2026-12-31\n\n", "cp1252"),
    ],
    ids=["BOM", "semicolons", "tabs in UTF-16 with a column more", "blank rows"],
)
def test_what_spreadsheets_make_of_it(tmp_path, text, encoding):
    got = roster(tmp_path, text, encoding)
    assert got.problems == () and list(got.athletes) == ["OT-01"]
    assert got.find("OT-01").lead_side is Side.LEFT and got.find("OT-01").consent_until == date(2026, 12, 31)


@pytest.mark.parametrize(
    ("row", "column", "expected", "came"),
    [
        ("Anna Muster,Otters,left,2026-12-31", "athlete", "a code", "Anna Muster"),
        (",Otters,left,2026-12-31", "athlete", "a code", "nothing"),
        ("../../x,Otters,left,2026-12-31", "athlete", "a code", "../../x"),
        ("<script>,Otters,left,2026-12-31", "athlete", "a code", "<script>"),
        ("CON,Otters,left,2026-12-31", "athlete", "a code", "CON"),
        ("A" * 33 + ",Otters,left,2026-12-31", "athlete", "a code", "AAA"),
        ("OT-01," + "O" * 61 + ",left,2026-12-31", "cohort", "60 characters", "OOO"),
        ("OT-01,Otters,both,2026-12-31", "lead_side", "left, right or nothing", "both"),
        ("OT-01,Otters,left,3/2/2026", "consent_until", "a date such as", "3/2/2026"),
        ("OT-01,Otters,left,2026-02-30", "consent_until", "a date such as", "2026-02-30"),
        ("OT-01,Otters,left,", "consent_until", "a date such as", "nothing"),
        ("OT-01,Otters", "consent_until", "a date such as", "nothing"),
    ],
)
def test_a_wrong_cell_is_told_and_the_athlete_is_not_opened(tmp_path, row, column, expected, came):
    got = roster(tmp_path, HEAD + "HE-02,Herons,right,2026-12-31\n" + row + "\n")
    assert len(got.problems) == 1
    for words in ("roster.csv", "row 3", f"column {column}", expected, came):
        assert words in got.problems[0]
    assert "\n" not in got.problems[0]
    assert got.refusal(row.split(",")[0] or "OT-01", TODAY).startswith("not opened")
    assert got.refusal("HE-02", TODAY) == "", "one wrong row is not the others' fault"


def test_a_code_twice_counts_for_neither_row(tmp_path):
    got = roster(tmp_path, HEAD + "OT-01,Otters,left,2026-12-31\not-01,Herons,right,2020-01-01\n")
    assert "row 3" in got.problems[0] and "row 2" in got.problems[0]
    assert "not opened" in got.refusal("OT-01", TODAY)


def test_refusals_say_why(tmp_path):
    got = roster(tmp_path, HEAD + "OT-01,Otters,left,2026-03-01\n")
    assert got.refusal("OT-01", TODAY) == "not opened: consent for OT-01 ran out on 2026-03-01"
    assert got.refusal("OT-99", TODAY) == "not opened: OT-99 is not on the roster"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("name,group\nx,y\n", "roster.csv, row 1.*athlete.*missing"),
        ("athlete,cohort,lead_side\nOT-01,Otters,left\n", "consent_until missing"),
    ],
)
def test_a_file_that_is_no_roster_is_refused(tmp_path, text, words):
    with pytest.raises(MatsideError, match=words):
        roster(tmp_path, text)


def test_a_video_named_roster_is_refused_in_words(tmp_path):
    path = tmp_path / "roster.csv"
    path.write_bytes(bytes(range(256)) * 50)
    with pytest.raises(MatsideError, match=r"roster\.csv"):
        load_roster(path)


@pytest.mark.parametrize("text", ["2026-03-02", "2026/3/2", "2.3.2026", " 2026.03.02 "])
def test_dates_that_can_be_read_one_way_only(text):
    assert read_date(text) == date(2026, 3, 2)
