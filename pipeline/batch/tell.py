"""An athlete in a few lines of text: the same sentences as on the page."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.reports.trend_page import learn_chance, period_of
from pipeline.reports.trend_view import level_words, place
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store
from pipeline.trends.athlete import athlete_trends
from pipeline.trends.filters import Filters
from pipeline.trends.words import sentence
from pipeline.vocabulary import DETAIL, Skill


def athlete_lines(store: Store, tolerances: Tolerances, code: str, filters: Filters | None = None) -> Iterator[str]:
    """One line a detail, side and setting: the latest session with its ± and what has changed; sure changes first."""
    asked = period_of(store, filters or Filters())
    chance = learn_chance(store, asked, including=code)
    yield f"{code}, {asked.words() or 'all that is stored'}"
    trends = sorted(
        athlete_trends(asked.apply(store.readings(code)), code, chance.precision),
        key=lambda trend: (not trend.change.real, place(trend.key)),
    )
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
        value = level_words(trend, float(latest["median"]), float(latest["high"] - latest["median"]), str(latest["date"]))
        yield f"  {title}: {value} on {latest['date']}. {sentence(trend, tolerances.get((trend.skill, trend.detail)))}"
    if not trends:
        yield "  No readings in this time."
