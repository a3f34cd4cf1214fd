"""An athlete in a few lines of text: the same sentences as on the page."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.reports.trend_page import learn_chance, period_of
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store
from pipeline.trends.athlete import athlete_trends
from pipeline.trends.filters import Filters
from pipeline.trends.words import amount, sentence
from pipeline.vocabulary import DETAIL, Skill


def athlete_lines(store: Store, tolerances: Tolerances, code: str, filters: Filters | None = None) -> Iterator[str]:
    """One line a detail, side and setting: the latest session and what has changed."""
    asked = period_of(store, filters or Filters())
    chance = learn_chance(store, asked, including=code)
    yield f"{code}, {asked.words() or 'all that is stored'}"
    trends = athlete_trends(asked.apply(store.readings(code)), code, chance.precision)
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
        value, said = float(latest["median"]), sentence(trend, tolerances.get((trend.skill, trend.detail)))
        yield f"  {title}: {'−' if value < 0 else ''}{amount(value, trend.unit)} on {latest['date']}. {said}"
    if not trends:
        yield "  No readings in this time."
