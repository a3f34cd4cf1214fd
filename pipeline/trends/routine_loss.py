"""What falls apart first in a routine: for each detail how far the skill moves away from what is wanted, against the same skill alone.

Pairs of sessions come from `setting_drop`. A loss is positive where the routine is further from what is wanted, in the detail's unit;
its share of the tolerance's "close" band makes details with different units comparable.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from pipeline.scoring.tolerances import Kind, Tolerance
from pipeline.trends.pooled import holm
from pipeline.trends.sessions import Z95
from pipeline.trends.setting_drop import ENOUGH_PAIRS, pair_settings
from pipeline.trends.shrink import Prior, common_variance
from pipeline.trends.student import t_quantile, two_sided_p

ENOUGH_ATHLETES = 3  # fewer leave the club's mean without an interval
SURE = 0.05
Tolerances = Mapping[tuple[str, str], Tolerance]
COLUMN = ["skill", "detail", "side"]


class Basis(StrEnum):
    """What an interval says something about."""

    USUAL = "usual"  # what is usually lost: from several pairs of sessions, or from several athletes
    THESE = "these"  # what was lost in these attempts: from the readings' own intervals
    NONE = "none"  # too few, and the readings do not say


@dataclass(frozen=True)
class Loss:
    """One detail. Levels and loss in its unit; interval NaN where there is none."""

    skill: str
    detail: str
    side: str
    alone: float  # mean of the sessions that were paired
    routine: float
    loss: float  # positive: further from what is wanted in the routine
    low: float  # 95 % interval
    high: float
    share: float  # of the tolerance's close band: 1 falls from the target to the end of "close"
    pairs: int
    athletes: int
    basis: Basis
    p: float = math.nan  # chance of such a loss, or gain, where nothing is lost; NaN where nothing can be said about what is usual
    sure: bool = False  # after Holm's correction over everything ranked together
    alone_half: float = math.nan  # half of the 95 % interval that the readings themselves state for a level like `alone`
    routine_half: float = math.nan
    alone_off: float = math.nan  # mean distance from the target, where both its sides count: levels on either side hide it
    routine_off: float = math.nan

    @property
    def column(self) -> tuple[str, str, str]:
        """Which detail it is."""
        return self.skill, self.detail, self.side


def paired_losses(sessions: pd.DataFrame, tolerances: Tolerances) -> pd.DataFrame:
    """One row a pair of sessions: the columns of `pair_settings`, loss, share, and alone_off and routine_off, the distances from the
    target where both its sides count (else NaN). Details without a tolerance are left out."""
    pairs = pair_settings(sessions)
    keep = np.array([(s, d) in tolerances for s, d in zip(pairs["skill"], pairs["detail"], strict=True)], dtype=bool)
    pairs = pairs[keep].reset_index(drop=True)
    loss, share = np.zeros(len(pairs)), np.full(len(pairs), np.nan)
    off = {setting: np.full(len(pairs), np.nan) for setting in ("alone", "routine")}
    for key, at in pairs.groupby(["skill", "detail"], sort=False).indices.items():
        tolerance = tolerances[key]
        loss[at] = lost(pairs["alone"].to_numpy()[at], pairs["routine"].to_numpy()[at], tolerance)
        share[at] = loss[at] / tolerance.close_within if tolerance.close_within > 0 else np.nan
        if tolerance.kind is Kind.BOTH:
            for setting, distances in off.items():
                distances[at] = np.abs(pairs[setting].to_numpy()[at] - tolerance.target)
    return pairs.assign(loss=loss, share=share, alone_off=off["alone"], routine_off=off["routine"])


def lost(alone: np.ndarray, routine: np.ndarray, tolerance: Tolerance) -> np.ndarray:
    """(n,) how much further from what is wanted `routine` is than `alone`. Where both sides of the target count, the distance from it;
    where one does, the plain difference, also beyond the target: what is lost there is lost all the same."""
    if tolerance.kind is Kind.AT_LEAST:
        return alone - routine
    if tolerance.kind is Kind.AT_MOST:
        return routine - alone
    return np.abs(routine - tolerance.target) - np.abs(alone - tolerance.target)


def learn_loss_scatter(pairs: pd.DataFrame) -> dict[tuple[str, str], Prior]:
    """What the club's pairs say of how much a loss scatters from pair to pair, by (skill, detail)."""
    out = {}
    for (skill, detail), part in pairs.groupby(["skill", "detail"], sort=False):
        per = part.groupby(["athlete", "side"], sort=False)["loss"].agg(["var", "count"])
        out[str(skill), str(detail)] = common_variance(per["var"].fillna(0.0).to_numpy(), per["count"].to_numpy() - 1.0)
    return out


def athlete_losses(pairs: pd.DataFrame, athlete: str, scatter: Mapping[tuple[str, str], Prior] | None = None) -> list[Loss]:
    """One athlete's details, ranked. pairs : `paired_losses`, of the whole club or hers; scatter : learnt from the club.

    From three pairs of sessions on the interval is of what she usually loses (Student's t; scatter drawn towards the club's). With
    fewer it is of these attempts alone, from the intervals of the readings.
    """
    out = []
    for column, part in pairs[pairs["athlete"] == athlete].groupby(COLUMN, sort=False):
        skill, detail, side = map(str, column)
        loss = part["loss"].to_numpy(float)
        n, mean = len(loss), float(loss.mean())
        se, df, basis = math.nan, math.nan, Basis.NONE
        if n >= ENOUGH_PAIRS:
            prior = (scatter or {}).get((skill, detail)) or Prior(math.nan, 0.0, n - 1.0)
            variance, dfs = prior.moderated(np.array([loss.var(ddof=1)]), np.array([n - 1.0]))
            if dfs[0] > 0 and np.isfinite(variance[0]):
                se, df, basis = math.sqrt(variance[0] / n), float(dfs[0]), Basis.USUAL
        own = float(part["own"].mean())
        if basis is Basis.NONE and math.isfinite(own):
            se, df, basis = math.sqrt(own), math.inf, Basis.THESE  # one day's readings err together: more pairs do not help much
        out.append(_loss(skill, detail, side, part, mean, se, df, basis, athletes=1))
    return ranked(out)


def club_losses(pairs: pd.DataFrame) -> list[Loss]:
    """The club's details, ranked: each athlete's mean loss counts once, whatever the number of her pairs, so the interval (Student's t
    over athletes) is of what a child of this club usually loses. With fewer than three athletes it is of these attempts alone, from the
    intervals of the readings."""
    out = []
    for column, part in pairs.groupby(COLUMN, sort=False):
        skill, detail, side = map(str, column)
        means = part.groupby("athlete", sort=False)["loss"].mean().to_numpy(float)
        n = len(means)
        se, df, basis = math.nan, math.nan, Basis.NONE
        if n >= ENOUGH_ATHLETES:
            se, df, basis = float(means.std(ddof=1) / math.sqrt(n)), n - 1.0, Basis.USUAL
        own = part.groupby("athlete", sort=False)["own"].mean().to_numpy(float)
        if basis is Basis.NONE and np.isfinite(own).all():
            se, df, basis = float(np.sqrt(own.sum())) / n, math.inf, Basis.THESE  # one athlete's readings err without the other's
        out.append(_loss(skill, detail, side, part, float(means.mean()), se, df, basis, athletes=n))
    return ranked(out)


def ranked(losses: list[Loss]) -> list[Loss]:
    """In the order in which to look at them: losses that are sure (Holm over all of these), the largest share first; then those that
    chance could have made; last those about which nothing can be said beyond the attempts themselves, of these first what was lost
    beyond the readings' own doubt. Gains stand where their share puts them, so sure gains come after all losses that are not sure."""
    adjusted = holm(np.array([one.p for one in losses])) if losses else np.zeros(0)
    judged = [Loss(**{**one.__dict__, "sure": bool(p < SURE)}) for one, p in zip(losses, adjusted, strict=True)]
    return sorted(judged, key=lambda one: (_group(one), -one.share if math.isfinite(one.share) else math.inf, one.column))


def _group(one: Loss) -> int:
    if one.basis is not Basis.USUAL:
        return 2 if one.low > 0 else 3
    return 0 if one.sure and one.loss > 0 else 1


def _loss(
    skill: str, detail: str, side: str, part: pd.DataFrame, mean: float, se: float, df: float, basis: Basis, *, athletes: int
) -> Loss:  # fmt: skip
    each = part.groupby("athlete", sort=False)[["alone", "routine", "share", "alone_off", "routine_off", "alone_own", "routine_own"]].mean()
    per = each.mean()
    halves = Z95 * np.sqrt(each[["alone_own", "routine_own"]].mean(skipna=False))  # of levels: what all readings err alike stays in them
    quantile = Z95 if math.isinf(df) else t_quantile(df) if math.isfinite(df) else math.nan
    p = two_sided_p(mean / se, df) if basis is Basis.USUAL and se > 0 else (0.0 if mean else 1.0) if basis is Basis.USUAL else math.nan
    return Loss(
        skill, detail, side, float(per["alone"]), float(per["routine"]), mean, mean - quantile * se, mean + quantile * se, float(per["share"]), len(part),
        athletes, basis, p, alone_half=float(halves["alone_own"]), routine_half=float(halves["routine_own"]),
        alone_off=float(per["alone_off"]), routine_off=float(per["routine_off"]),
    )  # fmt: skip
