"""What each cohort should work on next: the detail fewest of its attempts meet, said only as far as the numbers bear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.trends.cohorts import ENOUGH_ATHLETES
from pipeline.trends.shares import share_table
from pipeline.vocabulary import Verdict

TOO_DARK = 0.5  # share of readings that cannot be told above which a detail must be filmed better first
ENOUGH_MET = 0.8  # a detail met this often needs no term's work; both: common practice, no source


@dataclass(frozen=True)
class NextTerm:
    """Details as (skill, detail). `first` is None where nothing can be said; `why` then says so."""

    cohort: str
    first: tuple[str, str] | None
    share_met: float
    low: float
    high: float
    or_else: tuple[tuple[str, str], ...]  # as little met, as far as can be told
    film_better: tuple[tuple[str, str], ...]
    why: str


def next_term(counts: pd.DataFrame, *, enough: int = ENOUGH_ATHLETES) -> list[NextTerm]:
    """One answer a cohort, in its name's order, from `shares.count_verdicts` by at least cohort, skill and detail."""
    by = ["cohort", "skill", "detail"]
    met, dark = share_table(counts, by, Verdict.MET), share_table(counts, by, Verdict.CANNOT_TELL)
    out = []
    for cohort, unseen in dark.groupby("cohort", sort=True):
        film = tuple((r.skill, r.detail) for r in unseen.itertuples() if r.share > TOO_DARK)
        told = met[(met["cohort"] == cohort) & (met["athletes"] >= enough)]
        seen = np.array([(r.skill, r.detail) not in film for r in told.itertuples()], dtype=bool)
        told = told[seen].sort_values("share", kind="stable")
        out.append(_answer(str(cohort), told, film, enough))
    return out


def _answer(cohort: str, told: pd.DataFrame, film: tuple[tuple[str, str], ...], enough: int) -> NextTerm:
    nothing = float("nan")
    if told.empty:
        return NextTerm(cohort, None, nothing, nothing, nothing, (), film, f"Too few to tell: fewer than {enough} athletes with readings.")
    least = told.iloc[0]
    if least["low"] > ENOUGH_MET:
        return NextTerm(
            cohort, None, least["share"], least["low"], least["high"], (), film, "Every detail that was measured is mostly met."
        )
    others = told.iloc[1:]
    alike = tuple((r.skill, r.detail) for r in others[others["share"] <= least["high"]].itertuples())
    return NextTerm(cohort, (least["skill"], least["detail"]), least["share"], least["low"], least["high"], alike, film, "")
