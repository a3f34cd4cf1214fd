"""Who stands where: left-leaders first, so that they are not forgotten; what the roster and the clips disagree on is said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from pipeline.attempts.lead import TELLING, lead_of
from pipeline.vocabulary import Side

RECENT_DAYS = 28  # who is not on the roster trains here if filmed so shortly before the newest clip
ORDER = {str(Side.LEFT): 0, str(Side.RIGHT): 1, str(Side.NONE): 2}


@dataclass(frozen=True)
class Place:
    """One athlete in the line, and which leg leads."""

    athlete: str
    roster: str = ""  # left, right, or empty where the roster does not say
    found: str = ""  # left, right, or empty where the attempts do not tell
    left: int = 0  # attempts that led with the left leg
    right: int = 0
    may_film: bool = True  # whether consent to film lasts, as far as the latest roster says

    @property
    def side(self) -> str:
        """The side to line up by: the roster's word, else what was found, else empty."""
        return self.roster or self.found

    @property
    def mismatch(self) -> bool:
        """Whether the attempts tell another side than the roster."""
        return bool(self.roster and self.found and self.roster != self.found)


def line_up(roster: pd.DataFrame, attempts: pd.DataFrame, *, today: date | None = None) -> dict[str, list[Place]]:
    """{cohort: athletes in line}: left-leaders, right-leaders, those whose side nobody knows; each by code.

    roster   : athlete, cohort, lead_side, consent_until, as `Store.roster` gives them; may be empty.
    attempts : athlete, cohort, date, skill, lead_side, as `Store.attempts` gives them.
    today    : the day on which consent must still last; who is not on a roster that has rows has none.
    """
    told = attempts[(attempts["athlete"] != "") & attempts["skill"].isin([str(s) for s in TELLING])]
    sides = Counter(zip(told["athlete"], told["lead_side"], strict=True))

    now = (today or date.today()).isoformat()

    def place(athlete: str, side: str = "", consent: str = "") -> Place:
        left, right = sides[athlete, "left"], sides[athlete, "right"]
        return Place(athlete, side, str(lead_of(left, right)), left, right, consent >= now or roster.empty)

    out: dict[str, list[Place]] = {}
    for athlete, cohort, side, consent in roster[["athlete", "cohort", "lead_side", "consent_until"]].itertuples(index=False, name=None):
        out.setdefault(cohort, []).append(place(athlete, side, consent))
    for athlete, cohort in _others(attempts, set(roster["athlete"])):
        out.setdefault(cohort, []).append(place(athlete))
    return {cohort: in_line(out[cohort]) for cohort in sorted(out, key=lambda c: (not c, c))}


def in_line(places: Sequence[Place]) -> list[Place]:
    """Left-leaders first, then right-leaders, then those who must be asked; each by code."""
    return sorted(places, key=lambda p: (ORDER[p.side], p.athlete))


def _others(attempts: pd.DataFrame, listed: set[str]) -> list[tuple[str, str]]:
    """(athlete, cohort of the latest clip) of those filmed lately who are not on the roster."""
    dated = attempts[(attempts["date"] != "") & (attempts["athlete"] != "")]
    if dated.empty:
        return []
    oldest = (date.fromisoformat(dated["date"].max()) - timedelta(days=RECENT_DAYS)).isoformat()
    latest = dated.sort_values("date", kind="stable").drop_duplicates("athlete", keep="last")
    shown = latest[(latest["date"] >= oldest) & ~latest["athlete"].isin(listed)]
    return list(zip(shown["athlete"], shown["cohort"], strict=True))
