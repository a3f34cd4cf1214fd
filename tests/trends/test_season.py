import numpy as np
import pandas as pd
import pytest

from pipeline.errors import MatsideError
from pipeline.lean_readings import LEAN_COLUMNS
from pipeline.store import INVENTED, Store
from pipeline.trends.notes import add_note, drill_starts, remove_note
from pipeline.trends.season import demo_club, write_season
from pipeline.vocabulary import DETAIL, READING_COLUMNS


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    with Store(tmp_path_factory.mktemp("season") / "season.sqlite") as store:
        write_season(store)
        yield store


def test_the_season_is_three_cohorts_of_24_athletes_and_says_that_it_is_invented(season):
    clips = season.clips()
    assert clips["athlete"].nunique() == 24 and set(clips["cohort"]) == {"Otters", "Herons", "Curlews"}
    assert "no child was filmed" in season.fact(INVENTED)
    moved = clips.groupby("athlete")["cohort"].nunique()
    assert (moved == 2).sum() == 2


def test_no_invented_reading_leaves_what_the_body_allows(season):
    readings = season.readings()
    for (skill, detail), rows in readings[readings["value"].notna()].groupby(["skill", "detail"]):
        least, most = DETAIL[skill, detail].limits
        assert (rows[["value", "low", "high"]].to_numpy() >= least).all() and (rows[["value", "low", "high"]].to_numpy() <= most).all()
        assert ((rows["low"] <= rows["value"]) & (rows["value"] <= rows["high"])).all()
    knees = readings[readings["detail"] == "knee_angle"]
    assert knees["high"].max() == 180 and readings.loc[readings["detail"] == "hip_angle", "value"].max() > 180
    assert (knees["value"] == 180).sum() < 0.25 * knees["value"].notna().sum()


def test_what_the_store_gives_back_is_what_was_simulated(season):
    # Sorted the same way, since the store orders by clip.
    order = ["clip", "detail", "side"]
    back = season.readings().sort_values(order, ignore_index=True)
    club = demo_club().readings.sort_values(order, ignore_index=True)
    assert len(back) == len(club) > 5000
    np.testing.assert_allclose(back["value"], club["value"])
    pd.testing.assert_frame_equal(back[list(READING_COLUMNS[:7])], club[list(READING_COLUMNS[:7])])


def test_lean_readings_are_the_same_readings(season):
    lean, full = season.lean_readings(), season.readings()
    assert tuple(lean.columns) == LEAN_COLUMNS and len(lean) == len(full)
    keys = ["athlete", "date", "skill", "detail", "side", "value"]
    a, b = (t[keys].astype({k: str for k in keys[:-1]}).sort_values(keys, ignore_index=True) for t in (lean, full))
    pd.testing.assert_frame_equal(a, b)


def test_lean_readings_can_be_narrowed(season):
    some = season.lean_readings(athletes=["OT-01", "HE-02"], since="2026-10-01", until="2026-10-31", skill="lunge", setting="routine")
    assert set(some["athlete"]) <= {"OT-01", "HE-02"} and set(some["skill"]) == {"lunge"} and set(some["setting"]) == {"routine"}
    assert some["date"].astype(str).between("2026-10-01", "2026-10-31").all() and len(some)
    assert len(season.lean_readings(in_cohorts=True)) == len(season.lean_readings()) > 5000  # everyone in the season has a cohort
    assert season.lean_readings(athletes=[]).empty and season.lean_readings(lead_side="left")["athlete"].nunique() > 1


def test_notes_are_kept_once_and_wrong_ones_are_refused(season):
    before = len(season.notes("OT-01"))
    add_note(season, "OT-01", "2026-10-19", "Grew  2 cm since the summer", kind="growth")
    assert len(season.notes("OT-01")) == before
    for bad in (dict(about="XX-01"), dict(on="19 October"), dict(kind="gossip"), dict(text="  ")):
        with pytest.raises(MatsideError, match="Note about"):
            add_note(season, **{"about": "OT-01", "on": "2026-10-19", "text": "words", "kind": "other", **bad})


def test_drills_begin_where_their_first_note_says(season):
    starts = drill_starts(season)
    assert list(starts.itertuples(index=False, name=None)) == [
        ("Wall slides for flat hips", "Otters", "2026-10-12"), ("Wall slides for flat hips", "Herons", "2026-11-09"),
    ]  # fmt: skip


def test_a_note_is_found_in_any_capitals_and_taken_off_again(season):
    add_note(season, "ot-02", "1.10.2026", "to go", kind="growth")
    assert ("OT-02", "2026-10-01", "growth", "to go") in set(
        season.notes("OT-02")[["about", "date", "kind", "text"]].itertuples(index=False, name=None)
    )
    with pytest.raises(MatsideError, match="there is: to go"):
        remove_note(season, "OT-02", "2026-10-01", "to stay")
    remove_note(season, "OT-02", "2026-10-01", " To  go")
    assert "to go" not in set(season.notes("OT-02")["text"])
    with pytest.raises(MatsideError, match="there is: none"):
        remove_note(season, "OT-02", "2026-10-01", "to go")


def test_readings_of_a_period_are_those_between_both_days(season):
    some = season.readings("OT-01", since="2026-10-01", until="2026-10-31")
    everything = season.readings("OT-01")
    pd.testing.assert_frame_equal(some, everything[everything["date"].between("2026-10-01", "2026-10-31")].reset_index(drop=True))
    assert 0 < len(some) < len(everything)
