from datetime import date

import pandas as pd
import pytest

from pipeline.errors import MatsideError
from pipeline.trends.filters import Filters, latest
from pipeline.vocabulary import Setting, Side, Skill
from tests.trends.making import readings


def rows():
    return pd.concat([
        readings([0, 7, 14], [1.0, 2.0, 3.0]), readings([7], [4.0], setting="routine"), readings([7], [5.0], skill="lunge"),
        readings([7], [6.0]).assign(lead_side="left"), readings([7], [7.0]).assign(date=""),
    ])  # fmt: skip


@pytest.mark.parametrize(
    ("filters", "values"),
    [
        (Filters(), [1, 2, 3, 4, 5, 6, 7]),
        (Filters(since=date(2026, 3, 9)), [2, 3, 4, 5, 6]),
        (Filters(until=date(2026, 3, 8)), [1]),
        (Filters(skill=Skill.LUNGE), [5]),
        (Filters(setting=Setting.ROUTINE), [4]),
        (Filters(lead_side=Side.LEFT), [6]),
    ],
)
def test_each_filter_lets_through_what_it_says(filters, values):
    table = rows()
    assert list(filters.apply(table)["value"]) == values
    lean = table.reset_index(drop=True).assign(**{c: pd.Categorical(table[c]) for c in ("date", "skill", "setting", "lead_side")})
    assert list(filters.apply(lean)["value"]) == values


def test_a_period_the_wrong_way_round_is_refused():
    with pytest.raises(MatsideError, match=r"starts on 2026-03-09 but ends on 2026-03-01.*Swap"):
        Filters(since=date(2026, 3, 9), until=date(2026, 3, 1))


def test_words_and_the_last_weeks():
    assert Filters(since=date(2026, 3, 9), skill=Skill.SHOULDER_STAND).words() == "from 2026-03-09, shoulder stand only"
    assert latest("2026-03-15", 2) == date(2026, 3, 2)
