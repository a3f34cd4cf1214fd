"""readings.csv and clips.csv: the promised columns, numbers unbroken, text that no spreadsheet runs."""

import csv
import io

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reports.tables import cell, clips_csv, csv_text, readings_csv
from pipeline.scoring.tolerances import load_tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import Store
from pipeline.vocabulary import CLIP_COLUMNS, READING_COLUMNS
from tests.reports import invented

# The promise, word for word as the design states it.
PROMISED = "clip,athlete,cohort,date,skill,setting,attempt,start_s,end_s,detail,side,value,low,high,unit,usable_share,verdict,reason"


def test_columns_are_the_promised_ones():
    assert ",".join(READING_COLUMNS) == PROMISED
    assert ",".join(CLIP_COLUMNS) == "clip,athlete,date,status,reason,frames,seconds_of_work"


def test_every_stored_reading_is_a_row_with_its_exact_numbers(tmp_path):
    with Store(tmp_path / "data" / "matside.sqlite") as store:
        invented.fill(store, tmp_path / "data", athletes=3, weeks=1, pictures=False)
        stored, clips = store.readings(), store.clips()
    rows = list(csv.reader(io.StringIO(readings_csv(score(stored, load_tolerances())))))
    assert ",".join(rows[0]) == PROMISED
    table = pd.DataFrame(rows[1:], columns=rows[0])
    assert len(table) == len(stored) > 20
    for name in ("value", "low", "high"):
        assert table[name].replace("", "nan").map(float).equals(stored[name])  # bit for bit; NaN where empty
    empty = table["value"] == ""
    assert empty.any() and (table.loc[empty, "reason"] != "").all()
    assert set(table["verdict"]) <= {"met", "close", "not yet", "cannot tell"}
    listed = list(csv.DictReader(io.StringIO(clips_csv(clips))))
    assert [row["clip"] for row in listed] == list(clips["clip"])
    measured = next(row for row in listed if row["status"] == "measured")
    assert measured["frames"] == "270"
    assert next(row for row in listed if row["status"] == "failed")["frames"] == ""


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_text_that_a_spreadsheet_would_run_is_defused(start):
    """OWASP, CSV injection: cells beginning with these characters may be run as formulas (list from memory)."""
    assert cell(f"{start}1+1") == f"'{start}1+1".replace("\r", "\n")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (-3.5, "-3.5"),
        (0.1 + 0.2, "0.30000000000000004"),
        (7, "7"),
        (7.0, "7"),
        (float("nan"), ""),
        (None, ""),
        (float("inf"), ""),
        (-0.0, "0"),
        (1e-7, "1e-07"),
    ],
)
def test_numbers_stay_numbers(value, text):
    assert cell(value) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_reads_back_as_itself(value):
    assert float(cell(value)) == value


@given(st.text(st.characters(codec="utf-8", exclude_characters="\x00")))
def test_any_text_reads_back_as_itself_or_defused(text):
    rows = list(csv.reader(io.StringIO(csv_text(pd.DataFrame({"a": [text], "b": ["end"]}), ("a", "b")), newline="")))
    assert len(rows) == 2 and rows[1][1] == "end"
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    assert rows[1][0] in (lines, f"'{lines}")
