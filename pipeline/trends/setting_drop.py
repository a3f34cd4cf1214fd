"""What a skill loses inside a routine, against the same skill alone, from days (or neighbouring days) with both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.trends.shrink import Prior, common_variance
from pipeline.trends.student import t_quantile
from pipeline.vocabulary import Setting

NEAR = 14.0  # days between two sessions that may be compared: what counts as one time elsewhere too (`athlete.FORTNIGHT`)
ENOUGH_PAIRS = 3
LINE = ["athlete", "skill", "detail", "side"]
OWN = ["alone_below", "alone_above", "routine_below", "routine_above"]


@dataclass(frozen=True)
class Drop:
    """Routine less alone, in the detail's unit, mean of `pairs` pairs of sessions; interval NaN where too few."""

    drop: float
    low: float
    high: float
    pairs: int


def pair_settings(sessions: pd.DataFrame) -> pd.DataFrame:
    """One row a pair: LINE, day, drop, then what it is made of: alone, routine (the medians), alone_below, alone_above, routine_below,
    routine_above (the variances below and above that the readings' own intervals state for them; NaN where the sessions do not say). Each
    session is used once, with the nearest free one of the other setting."""
    routine = (sessions["setting"] == Setting.ROUTINE.value).to_numpy()
    day, median = sessions["day"].to_numpy(float), sessions["median"].to_numpy(float)
    below, above = (sessions[name].to_numpy(float) if name in sessions else np.full(len(sessions), np.nan) for name in ("below", "above"))
    rows = []
    for name, at in sessions.groupby(LINE, observed=True, sort=True).indices.items():
        r, a = at[routine[at]], at[~routine[at]]
        if len(r) and len(a):
            rows += [
                (*map(str, name), day[i], median[i] - median[j], median[j], median[i], below[j], above[j], below[i], above[i])
                for i, j in _nearest(day, r, a)
            ]
    return pd.DataFrame(rows, columns=[*LINE, "day", "drop", "alone", "routine", *OWN])


def _nearest(day: np.ndarray, r: np.ndarray, a: np.ndarray) -> list[tuple[int, int]]:
    """Pairs of rows from `r` and `a`, the nearest in time first, each row once, none further apart than `NEAR`."""
    apart = np.abs(day[r][:, None] - day[a][None, :])
    i, j = np.nonzero(apart <= NEAR)
    order = np.argsort(apart[i, j], kind="stable")
    used_r, used_a = set(), set()
    out = []
    for one, other in zip(r[i[order]].tolist(), a[j[order]].tolist(), strict=True):
        if one not in used_r and other not in used_a:
            used_r.add(one)
            used_a.add(other)
            out.append((one, other))
    return out


def learn_drop_scatter(pairs: pd.DataFrame) -> dict[tuple[str, ...], Prior]:
    """What the club's pairs say of how much a drop scatters, by (skill, detail)."""
    out = {}
    for name, part in pairs.groupby(["skill", "detail"], sort=False):
        per = part.groupby(LINE, sort=False)["drop"].agg(["var", "count"])
        out[tuple(map(str, name))] = common_variance(per["var"].fillna(0.0).to_numpy(), per["count"].to_numpy() - 1.0)
    return out


def setting_drop(drops: np.ndarray, prior: Prior | None = None) -> Drop:
    """drops : (n,) differences of one series. `prior` from the club; Student's t on what both are worth."""
    drops = np.asarray(drops, float)
    n = len(drops)
    if n == 0:
        return Drop(np.nan, np.nan, np.nan, 0)
    own = float(drops.var(ddof=1)) if n > 1 else 0.0
    variance, df = (prior or Prior(np.nan, 0.0, n - 1.0)).moderated(np.array([own]), np.array([n - 1.0]))
    mean = float(drops.mean())
    if n < ENOUGH_PAIRS or not df[0] > 0 or not np.isfinite(variance[0]):
        return Drop(mean, np.nan, np.nan, n)
    half = t_quantile(df[0]) * float(np.sqrt(variance[0] / n))
    return Drop(mean, mean - half, mean + half, n)
