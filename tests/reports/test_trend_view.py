"""What an athlete's trend page says of how much can be judged, from sessions set here."""

import gettext

import numpy as np
import pandas as pd
import pytest

from pipeline.reports.trend_view import level_words, trend_view
from pipeline.scoring.tolerances import load_tolerances
from pipeline.trends.athlete import athlete_trends
from tests.trends.making import readings


@pytest.mark.parametrize(
    ("weeks", "begins"),
    [
        (3, "No series has enough sessions to be judged yet: 4 are needed."),
        (4, "No series can be judged yet: so few sessions do not show what chance does."),
        (9, "1 series have enough sessions to be judged, each so that chance alone"),
    ],
)
def test_how_much_can_be_judged(weeks, begins):
    own = readings(7 * np.arange(weeks), 170 + np.array([0.0, 6, -2, 3, 1, 5, -1, 2, 0])[:weeks], own=3.0)
    notes = pd.DataFrame({"about": [], "date": [], "kind": [], "text": []})
    view = trend_view(gettext.NullTranslations(), "OT-01", "Otters", athlete_trends(own, "OT-01"), load_tolerances(), notes, {})
    assert view.chance.startswith(begins)
    assert [series.levels.count("±") for detail in view.details for series in detail.series] == [2], "each level has its ±"


def test_a_level_of_what_cannot_be_below_0_has_no_range_below_it():
    own = readings([0, 7], [4.0, 2.0], skill="backward_roll", detail="knee_clearance").assign(unit="% shank")
    (trend,) = athlete_trends(own, "OT-01")
    assert level_words(trend, 2.0, 5.0, "2026-03-09").replace("\u202f", " ") == "2 % (0–7 %)"
