"""Straight or loaded: which kind of lunge a stance is, and where one becomes the other."""

from __future__ import annotations

import numpy as np

from pipeline.attempts.facing import facing
from pipeline.attempts.once import once
from pipeline.attempts.signals import Signals, runs, smooth
from pipeline.attempts.stance import one_leg_twice, stance, still

# What tells a loaded lunge from a straight one: the back knee is bent, and the heel is up over the toes. The knee decides; where it is
# near its limit the heel does. Fitted on drawn lunges of both kinds.
BACK_BENT, BENT_WIDTH = 146.0, 9.0  # degrees; a straight lunge with a knee more bent than this is a loaded one in all but name
HEEL_UP, HEEL_WIDTH = 0.22, 0.15  # trunks of the heel over the toes
PITCHED, PITCH_WIDTH = 32.0, 15.0  # degrees of the foot from heel to toes, down from level
EITHER_WAY = 8.0  # degrees from its limit within which the knee does not decide alone
HEEL_COUNTS = EITHER_WAY / BENT_WIDTH  # at most
BENT_FURTHER, FURTHER_COUNTS = 10.0, 2.0  # degrees the knee is bent more than in a straight hold of the same step, and what that adds
STRAIGHTER = 20.0  # degrees the knee is straighter than in a bent hold of the same step, which takes as much off
DIFFERS = 1.0  # in degrees of the knee by BENT_WIDTH: so much more loaded is another lunge
KIND_S = 0.25  # a kind lasts at least this within a hold, or it is the way in or out


@once
def loaded(s: Signals) -> np.ndarray:
    """(n,) how clearly the back leg is loaded: above 0 loaded, below 0 straight; NaN out of a stance.

    The leg behind is the one further from where the athlete faces; where she faces is voted over each stance. A knee that bends
    out of a straight hold counts as loaded earlier than one that was never straighter.
    """
    out = np.full(len(s.t), np.nan)
    ankle = s.p("ankle")[..., 0]
    heel = s.h("heel") - s.h("foot_index")
    foot = s.p("foot_index") - s.p("heel")
    for a, b in runs(stance(s)):
        here = slice(a, b + 1)
        direction, _ = facing(s.xy[here])
        back = (direction * (ankle[here, 1] - ankle[here, 0]) <= 0).astype(int)
        rows = np.arange(a, b + 1)
        knee = s.knee[rows, back]
        score = (BACK_BENT - knee) / BENT_WIDTH
        pitch = np.degrees(np.arctan2(foot[rows, back, 1], np.abs(foot[rows, back, 0])))  # a foot turned out may seem to point back
        up = np.nan_to_num((heel[rows, back] - HEEL_UP) / HEEL_WIDTH) + np.nan_to_num((pitch - PITCHED) / PITCH_WIDTH)
        score += np.clip(up, -HEEL_COUNTS, HEEL_COUNTS)
        straightest, most_bent = _held(s, a, b, knee)
        with np.errstate(invalid="ignore"):
            out[here] = score + FURTHER_COUNTS * ((knee < straightest - BENT_FURTHER).astype(float) - (knee > most_bent + STRAIGHTER))
    return np.where(one_leg_twice(s), np.nan, out)


def _held(s: Signals, a: int, b: int, knee: np.ndarray) -> tuple[float, float]:
    """The back knee's angle in the straightest and in the most bent still quarter of a second of a stance, degrees; NaN where nothing
    was still."""
    calm = still(s)[a : b + 1]
    least = int(KIND_S / (s.t[1] - s.t[0])) if len(s.t) > 1 else 1
    level = smooth(np.where(calm, knee, np.nan), least)
    whole = (smooth(calm.astype(float), least) > 0.99) & np.isfinite(level)
    return (float(np.max(level[whole])), float(np.min(level[whole]))) if whole.any() else (float("nan"), float("nan"))


def kinds_of(s: Signals, holds: list[tuple[int, int]]) -> list[tuple[int, int, bool]]:
    """The still stretches cut where a straight lunge becomes a loaded one or the reverse, each long enough to be a hold."""
    score = smooth(_bridged(loaded(s), one_leg_twice(s)), 5)
    least = int(KIND_S / (s.t[1] - s.t[0])) if len(s.t) > 1 else 1
    out: list[tuple[int, int, bool]] = []
    for a, b in holds:
        part = score[a : b + 1]
        more = max(0, least - len(part) // 2)  # a moment is not enough to go by
        known = score[max(0, a - more) : b + 1 + more]
        known = known[np.isfinite(known)]
        whole = bool(len(known) and np.median(known) > 0)
        pieces = [(x, y, k) for k in (False, True) for x, y in runs((part > 0) == k) if y - x + 1 >= least]
        if len({k for _, _, k in pieces}) < 2 or not _differ(part, pieces):
            out.append((a, b, whole))
        else:
            out += [(a + x, a + y, k) for x, y, k in sorted(pieces)]
    return out


def _differ(score: np.ndarray, pieces: list[tuple[int, int, bool]]) -> bool:
    """Whether the loaded pieces of a still stretch are plainly more loaded than the straight ones: one hold near the limit between them
    is one lunge."""
    bent, straight = (np.concatenate([score[x : y + 1] for x, y, k in pieces if k == kind]) for kind in (True, False))
    if not (np.isfinite(bent).any() and np.isfinite(straight).any()):
        return True
    return bool(np.nanmedian(bent) - np.nanmedian(straight) > DIFFERS)


def _bridged(score: np.ndarray, gaps: np.ndarray) -> np.ndarray:
    """The score (n,) with what is missing at the moments `gaps` (n,) filled between what is known before and after."""
    known = np.flatnonzero(np.isfinite(score))
    return np.where(gaps, np.interp(np.arange(len(score)), known, score[known]), score) if len(known) and gaps.any() else score
