"""Readings and tolerances to verdicts: decisions guarded by the reading's interval.

The rule, exactly. A tolerance splits the values of a detail into MET (within met_within of the target on the sides that
count), CLOSE (beyond that, within close_within) and NOT YET (further still); limits belong to the better side. A reading
comes with a 95 % interval [low, high]:

1. no value, or an interval with an end missing       -> cannot tell
2. the whole interval in MET                          -> met
3. the whole interval in NOT YET, on one side         -> not yet
4. the interval holds values of both MET and NOT YET  -> cannot tell
5. anything else (in CLOSE, or across one limit only) -> close

A detail that its tolerance asks for in one setting only (asked_in) cannot be told anywhere else, whatever was read.

Source: guarded acceptance and guarded rejection, JCGM 106:2012, 8.3.2 and 8.3.3 (clause numbers from memory). The guard
band is the reading's own expanded uncertainty U, as in 8.3.2's decision rule with r = 1 (also ISO 14253-1): a value y is
accepted below an upper limit T only if y + U <= T, and refused only if y - U > T. For a normal error at 95 % the risk of a
wrong "met" or a wrong "not yet" is then at most 2.5 % a limit.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from pipeline.scoring.tolerances import Tolerance
from pipeline.vocabulary import Setting, Verdict

TOO_WIDE = "The 95 % interval reaches from met to not yet."
NO_TOLERANCE = "No tolerance is set for this detail."
ONLY_OWN = "Compared only with the athlete's own: no value is right for everybody."
ARMS_OWN = "Compared only with the athlete's own and with what the passage asks for: neither fast nor slow is right by itself."
TOO_ROUGH = "One phone tells it too roughly for a verdict."
ARMS_SPEED = ("arm_peak_speed", "arm_time_to_peak", "arm_smoothness")
OWN_OF = dict.fromkeys(ARMS_SPEED, ARMS_OWN) | {"hands_in_line": TOO_ROUGH}  # by detail; any other says ONLY_OWN
ONLY_THERE = {
    str(Setting.ROUTINE): "Shown without a verdict: it is asked for only within a routine.",
    str(Setting.ALONE): "Shown without a verdict: it is asked for only where the skill is done by itself.",
}
NOT_JUDGED = (ONLY_OWN, ARMS_OWN, TOO_ROUGH, *ONLY_THERE.values())  # reasons of readings that are there and still get no verdict
WORDS = np.array(list(Verdict), dtype=object)
PLACE = {verdict: place for place, verdict in enumerate(Verdict)}


def decide(value: np.ndarray, low: np.ndarray, high: np.ndarray, tolerance: Tolerance) -> np.ndarray:
    """Verdicts (n,) of Verdict for readings of one detail: value, low, high are (n,) in the detail's unit, NaN = missing."""
    return WORDS[decide_codes(value, low, high, tolerance)]


def verdict_of(value: float, low: float, high: float, tolerance: Tolerance) -> Verdict:
    """The same for one reading."""
    return decide(np.array([value]), np.array([low]), np.array([high]), tolerance)[0]


def decide_codes(value: np.ndarray, low: np.ndarray, high: np.ndarray, tolerance: Tolerance) -> np.ndarray:
    """The same as (n,) int8 places in `Verdict`, for millions of readings."""
    value, low, high = (np.atleast_1d(np.asarray(a, dtype=float)) for a in (value, low, high))
    met_low, met_high = tolerance.met
    close_low, close_high = tolerance.close
    known = np.isfinite(value) & ~np.isnan(low) & ~np.isnan(high)
    with np.errstate(invalid="ignore"):
        met = (low >= met_low) & (high <= met_high)
        not_yet = (high < close_low) | (low > close_high)
        touches_met = (low <= met_high) & (high >= met_low)
        touches_not_yet = (low < close_low) | (high > close_high)
    out = np.full(value.shape, PLACE[Verdict.CLOSE], dtype=np.int8)
    out[touches_met & touches_not_yet | ~known] = PLACE[Verdict.CANNOT_TELL]
    out[met & known] = PLACE[Verdict.MET]
    out[not_yet & known] = PLACE[Verdict.NOT_YET]
    return out


def score(readings: pd.DataFrame, tolerances: Mapping[tuple[str, str], Tolerance]) -> pd.DataFrame:
    """A copy of the readings (columns of READING_COLUMNS) with `verdict` filled; a `cannot tell` always has a reason."""
    out = readings.copy()
    own: frozenset[tuple[str, str]] = getattr(tolerances, "own", frozenset())
    verdict = np.empty(len(out), dtype=object)
    verdict.fill(Verdict.CANNOT_TELL)
    reason = out["reason"].fillna("").to_numpy(dtype=object, copy=True)
    value, low, high = (out[name].to_numpy(dtype=float) for name in ("value", "low", "high"))
    setting = out["setting"].to_numpy(dtype=object) if "setting" in out else np.full(len(out), "", dtype=object)
    for (skill, detail), rows in out.groupby(["skill", "detail"], sort=False).indices.items():
        tolerance = tolerances.get((skill, detail))
        if tolerance is None:
            fallback = OWN_OF.get(str(detail), ONLY_OWN) if (skill, detail) in own else NO_TOLERANCE
        else:
            verdict[rows], fallback = decide(value[rows], low[rows], high[rows], tolerance), TOO_WIDE
            aside = rows[[not tolerance.asks(str(one)) for one in setting[rows]]] if tolerance.asked_in else rows[:0]
            verdict[aside] = Verdict.CANNOT_TELL
            reason[aside] = np.where(
                np.isfinite(value[aside]) & (reason[aside] == ""), ONLY_THERE.get(tolerance.asked_in, ""), reason[aside]
            )
        unexplained = rows[(verdict[rows] == Verdict.CANNOT_TELL) & (reason[rows] == "")]
        reason[unexplained] = fallback
    out["verdict"] = [str(v) for v in verdict]
    out["reason"] = reason
    return out
