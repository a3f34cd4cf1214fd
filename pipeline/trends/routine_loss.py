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
from pipeline.trends.setting_drop import ENOUGH_PAIRS, OWN, pair_settings
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
    alone_range: tuple[float, float] = (math.nan, math.nan)  # the 95 % interval that the readings themselves state for a level like `alone`
    routine_range: tuple[float, float] = (math.nan, math.nan)
    alone_off: float = math.nan  # mean distance from the target, where both its sides count: levels on either side hide it
    routine_off: float = math.nan

    @property
    def column(self) -> tuple[str, str, str]:
        """Which detail it is."""
        return self.skill, self.detail, self.side


def paired_losses(sessions: pd.DataFrame, tolerances: Tolerances) -> pd.DataFrame:
    """One row a pair of sessions: the columns of `pair_settings`, loss, share, alone_off and routine_off, the distances from the target
    where both its sides count (else NaN), and loss_below and loss_above, the variances that the readings' own intervals state for the
    loss. Details without a tolerance are left out."""
    pairs = pair_settings(sessions)
    keep = np.array([(s, d) in tolerances for s, d in zip(pairs["skill"], pairs["detail"], strict=True)], dtype=bool)
    pairs = pairs[keep].reset_index(drop=True)
    loss, share = np.zeros(len(pairs)), np.full(len(pairs), np.nan)
    off = {setting: np.full(len(pairs), np.nan) for setting in ("alone", "routine")}
    worse_above = {setting: np.zeros(len(pairs), dtype=bool) for setting in off}
    for key, at in pairs.groupby(["skill", "detail"], sort=False).indices.items():
        tolerance = tolerances[key]
        loss[at] = lost(pairs["alone"].to_numpy()[at], pairs["routine"].to_numpy()[at], tolerance)
        share[at] = loss[at] / tolerance.close_within if tolerance.close_within > 0 else np.nan
        for setting, distances in off.items():
            beyond = pairs[setting].to_numpy()[at] - tolerance.target
            worse_above[setting][at] = beyond > 0 if tolerance.kind is Kind.BOTH else tolerance.kind is Kind.AT_MOST
            if tolerance.kind is Kind.BOTH:
                distances[at] = np.abs(beyond)
    less, more = _of_losses(pairs, worse_above["alone"], worse_above["routine"])
    return pairs.assign(loss=loss, share=share, alone_off=off["alone"], routine_off=off["routine"], loss_below=less, loss_above=more)


def _of_losses(pairs: pd.DataFrame, alone_worse_above: np.ndarray, routine_worse_above: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """((n,), (n,)) variances below and above losses: less is lost where the routine was better than read and the skill alone was worse."""
    alone_below, alone_above, routine_below, routine_above = (pairs[name].to_numpy(float) for name in OWN)
    less = np.where(routine_worse_above, routine_below, routine_above) + np.where(alone_worse_above, alone_above, alone_below)
    more = np.where(routine_worse_above, routine_above, routine_below) + np.where(alone_worse_above, alone_below, alone_above)
    return less, more


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
        half, basis, p = (math.nan, math.nan), Basis.NONE, math.nan
        if n >= ENOUGH_PAIRS:
            prior = (scatter or {}).get((skill, detail)) or Prior(math.nan, 0.0, n - 1.0)
            variance, dfs = prior.moderated(np.array([loss.var(ddof=1)]), np.array([n - 1.0]))
            if dfs[0] > 0 and np.isfinite(variance[0]):
                half, basis, p = _usual(mean, math.sqrt(variance[0] / n), float(dfs[0]))
        own = part[["loss_below", "loss_above"]].mean().to_numpy(float)
        if basis is Basis.NONE and np.isfinite(own).all():
            half, basis = _stated(own), Basis.THESE  # one day's readings err together: more pairs do not help much
        out.append(_loss(skill, detail, side, part, mean, half, basis, p, athletes=1))
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
        mean, half, basis, p = float(means.mean()), (math.nan, math.nan), Basis.NONE, math.nan
        if n >= ENOUGH_ATHLETES:
            half, basis, p = _usual(mean, float(means.std(ddof=1) / math.sqrt(n)), n - 1.0)
        own = part.groupby("athlete", sort=False)[["loss_below", "loss_above"]].mean().to_numpy(float)
        if basis is Basis.NONE and np.isfinite(own).all():
            half, basis = _stated(own.sum(axis=0) / n**2), Basis.THESE  # one athlete's readings err without the other's
        out.append(_loss(skill, detail, side, part, mean, half, basis, p, athletes=n))
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


Half = tuple[float, float]  # how far an interval reaches below and above what it is of


def _usual(mean: float, se: float, df: float) -> tuple[Half, Basis, float]:
    """(the interval's halves, what it says something about, the chance of such a mean where nothing is lost) by Student's t."""
    half = t_quantile(df) * se
    return (half, half), Basis.USUAL, two_sided_p(mean / se, df) if se > 0 else 0.0 if mean else 1.0


def _stated(variances: np.ndarray) -> Half:
    """The halves that readings' own intervals state, of (2,) variances below and above."""
    below, above = Z95 * np.sqrt(variances)
    return float(below), float(above)


def _loss(
    skill: str, detail: str, side: str, part: pd.DataFrame, mean: float, half: Half, basis: Basis, p: float, *, athletes: int
) -> Loss:  # fmt: skip
    each = part.groupby("athlete", sort=False)[["alone", "routine", "share", "alone_off", "routine_off", *OWN]].mean()
    per = each.mean()
    alone, routine = float(per["alone"]), float(per["routine"])
    own = each[OWN].mean(skipna=False).to_numpy(float)  # of levels: what all readings err alike stays in them
    (alone_below, alone_above), (routine_below, routine_above) = _stated(own[:2]), _stated(own[2:])
    return Loss(
        skill, detail, side, alone, routine, mean, mean - half[0], mean + half[1], float(per["share"]), len(part), athletes, basis, p,
        alone_range=(alone - alone_below, alone + alone_above), routine_range=(routine - routine_below, routine + routine_above),
        alone_off=float(per["alone_off"]), routine_off=float(per["routine_off"]),
    )  # fmt: skip
