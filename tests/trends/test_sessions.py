import numpy as np
import pandas as pd
from numpy.testing import assert_allclose

from pipeline.trends.sessions import SESSION_COLUMNS, sessions
from tests.trends.making import readings


def test_a_session_is_a_day_with_its_median_scatter_and_own_error():
    table = sessions(readings([0, 0, 0, 7], [150.0, 160.0, 152.0, 170.0], own=2.0))
    assert list(table.columns) == SESSION_COLUMNS
    assert_allclose(table["median"], [152.0, 170.0])
    assert_allclose(table["scatter"], [56.0, 0.0], atol=1e-9)
    assert_allclose(table["own"], 4.0)
    assert list(table["n"]) == [3, 1] and table["day"].diff().iloc[1] == 7.0


def test_empty_values_and_dates_are_gaps():
    rows = readings([0, 0, 7], [150.0, np.nan, np.nan])
    undated = readings([14], [120.0]).assign(date="")
    table = sessions(pd.concat([rows, undated]))
    assert len(table) == 1 and table["n"].iloc[0] == 1


def test_sides_settings_and_athletes_stay_apart_and_the_table_is_left_as_it_was():
    rows = pd.concat(
        [
            readings([0], [1.0]),
            readings([0], [2.0], side="left"),
            readings([0], [3.0], setting="routine"),
            readings([0], [4.0], athlete="B"),
        ]
    )
    before = rows.copy()
    assert len(sessions(rows)) == 4
    pd.testing.assert_frame_equal(rows, before)


def test_words_kept_as_categories_give_the_same_sessions():
    rows = pd.concat([readings([0, 7], [1.0, 2.0]), readings([7, 0], [3.0, 4.0], athlete="B", side="left")])
    lean = rows.assign(**{c: pd.Categorical(rows[c]) for c in ("athlete", "cohort", "date", "skill", "setting", "detail", "side")})
    a, b = (t.astype({c: str for c in SESSION_COLUMNS[:5]}) for t in (sessions(rows), sessions(lean)))
    pd.testing.assert_frame_equal(a, b)
