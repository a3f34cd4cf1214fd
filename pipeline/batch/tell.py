"""An athlete in a few lines of text: the same sentences as on the page."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd

from pipeline.reports.numbers import plus_minus, quantity
from pipeline.reports.trend_page import learn_chance, period_of
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store
from pipeline.trends.athlete import Trend, athlete_trends
from pipeline.trends.filters import Filters
from pipeline.trends.words import sentence
from pipeline.vocabulary import DETAIL, Skill


def athlete_lines(store: Store, tolerances: Tolerances, code: str, filters: Filters | None = None) -> Iterator[str]:
    """One line a detail, side and setting: the latest session with its ± and what has changed; sure changes first."""
    asked = period_of(store, filters or Filters())
    chance = learn_chance(store, asked, including=code)
    yield f"{code}, {asked.words() or 'all that is stored'}"
    trends = sorted(athlete_trends(asked.apply(store.readings(code)), code, chance.precision), key=lambda trend: not trend.change.real)
    for trend in trends:
        detail = DETAIL.get((Skill(trend.skill), trend.detail))
        title = " ".join(
            part
            for part in (trend.skill.replace("_", " "), detail.title if detail else trend.detail, trend.side, f"({trend.setting})")
            if part
        )
        if trend.sessions.empty:
            yield f"  {title}: no value in this time."
            continue
        latest = trend.sessions.iloc[-1]
        yield f"  {title}: {_value(trend, latest)} on {latest['date']}. {sentence(trend, tolerances.get((trend.skill, trend.detail)))}"
    if not trends:
        yield "  No readings in this time."


def _value(trend: Trend, latest: pd.Series) -> str:
    """The day's middle with its ±; where chance is not known yet, with all that the readings' own ranges span."""
    value, low, high = (float(latest[end]) for end in ("median", "low", "high"))
    if not (math.isfinite(low) and math.isfinite(high)):
        day = trend.attempts[trend.attempts["date"] == latest["date"]]
        low, high = float(day["low"].min()), float(day["high"].max())
    return plus_minus(value, low, high, trend.unit) if math.isfinite(low) and math.isfinite(high) else quantity(value, trend.unit)
