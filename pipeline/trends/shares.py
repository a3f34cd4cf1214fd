"""Shares that come from children with uneven numbers of attempts: share met, share that could not be told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.scoring.tolerances import Tolerance
from pipeline.scoring.verdicts import PLACE, decide_codes
from pipeline.trends.keys import row_keys, starts_of, word_codes
from pipeline.trends.student import t_quantile
from pipeline.vocabulary import Setting, Skill, Verdict

VIEW: dict[str, str] = {str(skill): "front" if skill is Skill.CARTWHEEL else "side" for skill in Skill}


@dataclass(frozen=True)
class Share:
    """Mean of the athletes' own shares, 0 to 1, each athlete counting once; 95 % interval, NaN below two athletes."""

    share: float
    low: float
    high: float
    athletes: int
    readings: int


def athletes_share(hits: np.ndarray, tries: np.ndarray) -> Share:
    """hits, tries : (n,) whole numbers per athlete; athletes without a try are passed over.

    Interval: Wilson's, with as many independent tries as the spread between athletes leaves (Korn & Graubard 1998, Surv
    Methodol 24:193, in idea) and Student's t for few athletes. Where all athletes are at 0 or 1, each counts as one try.
    """
    hits, tries = np.asarray(hits, float), np.asarray(tries, float)
    hits, tries = hits[tries > 0], tries[tries > 0]
    n, total = len(tries), int(tries.sum())
    if n == 0:
        return Share(np.nan, np.nan, np.nan, 0, 0)
    shares = hits / tries
    p = float(shares.mean())
    if n == 1:
        return Share(p, np.nan, np.nan, 1, total)
    spread = float(shares.var(ddof=1)) / n
    effective = min(p * (1 - p) / spread, float(total)) if spread > 0 else float(n)
    t2 = t_quantile(n - 1) ** 2
    middle = (p + t2 / (2 * effective)) / (1 + t2 / effective)
    half = np.sqrt(t2) / (1 + t2 / effective) * np.sqrt(p * (1 - p) / effective + t2 / (4 * effective**2))
    return Share(p, float(max(0.0, middle - half)), float(min(1.0, middle + half)), n, total)


def with_verdicts(readings: pd.DataFrame, tolerances: Mapping[tuple[str, str], Tolerance]) -> pd.DataFrame:
    """The readings with verdicts (as categories) by the tolerances of the day; takes the store's lean tables too."""
    codes = np.full(len(readings), PLACE[Verdict.CANNOT_TELL], np.int8)
    value, low, high = (readings[c].to_numpy(float) for c in ("value", "low", "high"))
    keys = row_keys(readings, ["skill", "detail"])
    for number in np.unique(keys.number):
        skill, detail = (str(c[0]) for c in keys.words(np.array([number])).values())
        tolerance = tolerances.get((skill, detail))
        if tolerance is not None:
            rows = np.flatnonzero(keys.number == number)
            if tolerance.asked_in and "setting" in readings:
                elsewhere = [str(one) for one in Setting if not tolerance.asks(str(one))]
                rows = rows[~readings["setting"].iloc[rows].isin(elsewhere).to_numpy()]
            codes[rows] = decide_codes(value[rows], low[rows], high[rows], tolerance)
    out = readings.copy(deep=False)  # what is not new is shared, not doubled
    out["verdict"] = pd.Categorical.from_codes(codes, [str(v) for v in Verdict])
    return out


def count_verdicts(scored: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """How many readings an athlete has of each verdict, one row a group of `by`: by, athlete, verdict, readings.

    scored : READING_COLUMNS with verdicts; counted once, millions of them serve several tables of shares.
    """
    keys = row_keys(scored, [*by, "athlete", "verdict"])
    at, numbers = pd.factorize(keys.number, sort=True)
    return pd.DataFrame(keys.words(numbers)).assign(readings=np.bincount(at, minlength=len(numbers)))


def share_table(counts: pd.DataFrame, by: list[str], verdict: Verdict) -> pd.DataFrame:
    """Share of readings with `verdict`, one row a group of `by`: share, low, high, athletes, readings.

    counts : from `count_verdicts`. For `met` only readings that could be told count; for `cannot tell` all do.
    """
    rows = counts if verdict is Verdict.CANNOT_TELL else counts[counts["verdict"] != str(Verdict.CANNOT_TELL)]
    hit, readings = (rows["verdict"] == str(verdict)).to_numpy(), rows["readings"].to_numpy()
    keys = row_keys(rows, [*by, "athlete"])
    numbers, at = np.unique(keys.number, return_inverse=True)
    hits, tries = np.bincount(at, hit * readings, minlength=len(numbers)), np.bincount(at, readings, minlength=len(numbers))
    groups = numbers // max(len(keys.labels[-1]), 1)
    first = starts_of(groups)
    words = {name: column[first] for name, column in keys.words(numbers).items() if name != "athlete"}
    out = []
    for i, (start, end) in enumerate(zip(first, np.append(first[1:], len(groups)), strict=True)):
        s = athletes_share(hits[start:end], tries[start:end])
        out.append((*(str(words[name][i]) for name in by), s.share, s.low, s.high, s.athletes, s.readings))
    return pd.DataFrame(out, columns=[*by, "share", "low", "high", "athletes", "readings"])


def _each(column: pd.Series, change: Callable[[str], str]) -> pd.Categorical:
    """Every word changed, each only once."""
    codes, words = word_codes(column)
    again, changed = pd.factorize(np.array([change(str(w)) for w in words], dtype=object))
    return pd.Categorical.from_codes(again[codes] if len(words) else codes, changed)


def cannot_tell_tables(scored: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """How often a reading could not be told, by cohort, by skill and its view, and by month, in `share_table`'s columns."""
    skills = count_verdicts(scored, ["cohort", "skill"])
    skills["view"] = _each(skills["skill"], lambda s: VIEW.get(s, ""))
    rows = scored[["athlete", "verdict"]].assign(month=_each(scored["date"], lambda d: d[:7]))
    months = count_verdicts(rows, ["month"])
    return {
        "cohort": share_table(skills, ["cohort"], Verdict.CANNOT_TELL),
        "skill": share_table(skills, ["skill", "view"], Verdict.CANNOT_TELL),
        "month": share_table(months[months["month"] != ""], ["month"], Verdict.CANNOT_TELL),
    }
