"""How far two judges agree on met, close and not yet: weighted kappa with an interval that does not promise too much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from pipeline.trends.student import t_quantile
from pipeline.vocabulary import Verdict

SCALE = (Verdict.NOT_YET, Verdict.CLOSE, Verdict.MET)  # in order; "cannot tell" is no place on it
ENOUGH_PAIRS = 20  # fewer say too little for a kappa; common practice, no source
ENOUGH_ATHLETES = 3
Z95 = 1.959963984540054


class Weights(StrEnum):
    """How much worse two steps apart is than one: twice (Cicchetti & Allison 1971) or four times (Fleiss & Cohen 1973)."""

    LINEAR = "linear"
    QUADRATIC = "quadratic"


@dataclass(frozen=True)
class Agreement:
    """What two judges of the same attempts have in common. NaN where it cannot be told, with the reason in `why_none`."""

    table: np.ndarray  # (3, 3) counts, hers in rows, Matside's in columns, both in the order of SCALE
    kappa: float
    low: float  # 95 % interval
    high: float
    athletes: int
    hers_open: int  # she cannot tell, Matside can
    its_open: int  # Matside cannot tell, she can
    both_open: int
    why_none: str = ""  # "few" or "one word"

    @property
    def pairs(self) -> int:
        """Verdicts that both could tell."""
        return int(self.table.sum())

    @property
    def same(self) -> int:
        """Of these, how many are the same."""
        return int(np.trace(self.table))

    @property
    def far(self) -> int:
        """How many are met against not yet."""
        return int(self.table[0, -1] + self.table[-1, 0])


def weighted_kappa(table: np.ndarray, weights: Weights = Weights.LINEAR) -> tuple[float, float]:
    """Cohen's weighted kappa (1968) of a square table of counts, and its large-sample standard error (Fleiss, Cohen & Everitt 1969),
    as statsmodels computes them; NaN where chance alone would agree always, as with one word used throughout."""
    from statsmodels.stats.inter_rater import cohens_kappa

    table = np.asarray(table, float)
    if not table.sum() > 0 or _expected(table, weights) < 1e-12:
        return math.nan, math.nan
    with np.errstate(divide="ignore", invalid="ignore"):  # its test against chance, which is not asked for here
        found = cohens_kappa(table, wt=str(weights))
    return float(found.kappa), float(np.sqrt(max(found.var_kappa, 0.0)))


def agreement(
    hers: Sequence[str], its: Sequence[str], athletes: Sequence[str], *, weights: Weights = Weights.LINEAR
) -> Agreement:  # fmt: skip
    """How far her verdicts and Matside's agree. All three (n,), of the same readings in the same order.

    The interval is the wider of two: the large-sample one, and that of leaving out one athlete at a time (jackknife, Student's t),
    because verdicts on one child are not independent of each other. Where all agree both have no width; then the lower end is what
    the share of agreement can still be (Clopper and Pearson's, 0.025 to the power 1/n).
    """
    verdicts = list(zip(hers, its, athletes, strict=True))
    told = [(SCALE.index(Verdict(h)), SCALE.index(Verdict(i)), who) for h, i, who in verdicts if h in SCALE and i in SCALE]
    tables: dict[str, np.ndarray] = {}
    for h, i, who in told:
        tables.setdefault(who, np.zeros((3, 3)))[h, i] += 1
    table = np.sum(list(tables.values()), axis=0) if tables else np.zeros((3, 3))
    hers_open = sum(h not in SCALE and i in SCALE for h, i, _ in verdicts)
    its_open = sum(h in SCALE and i not in SCALE for h, i, _ in verdicts)
    neither = len(verdicts) - len(told) - hers_open - its_open
    kappa, se = weighted_kappa(table, weights)
    if len(told) < ENOUGH_PAIRS or not math.isfinite(kappa):
        why = "few" if len(told) < ENOUGH_PAIRS else "one word"
        return Agreement(table, math.nan, math.nan, math.nan, len(tables), hers_open, its_open, neither, why)
    low, high = _interval(table, list(tables.values()), kappa, se, weights)
    return Agreement(table, kappa, low, high, len(tables), hers_open, its_open, neither)


def _interval(table: np.ndarray, tables: Sequence[np.ndarray], kappa: float, se: float, weights: Weights) -> tuple[float, float]:
    n = table.sum()
    if np.trace(table) == n:
        return max(1 - (1 - 0.025 ** (1 / n)) / _expected(table, weights), -1.0), 1.0
    half = Z95 * se
    if len(tables) >= ENOUGH_ATHLETES:
        without = np.array([weighted_kappa(table - one, weights)[0] for one in tables])
        without = without[np.isfinite(without)]
        m = len(without)
        if m >= ENOUGH_ATHLETES:
            half = max(half, t_quantile(m - 1) * float(np.sqrt((m - 1) / m * ((without - without.mean()) ** 2).sum())))
    return max(kappa - half, -1.0), min(kappa + half, 1.0)


def _expected(table: np.ndarray, weights: Weights) -> float:
    """The weighted disagreement that chance alone would make, 0 to 1."""
    places = np.arange(len(table))
    apart = np.abs(places[:, None] - places) / (len(table) - 1)
    cost = apart if weights is Weights.LINEAR else apart**2
    n = table.sum()
    return float((cost * np.outer(table.sum(axis=1), table.sum(axis=0))).sum() / n**2)
