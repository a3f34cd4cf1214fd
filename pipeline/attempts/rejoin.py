"""A routine whose first or last part was followed as somebody else's: two children cross, and on her way on she is taken for a new one.

While following, nothing tells such an exchange from two who meet. Afterwards much does: one of them did a skill just while the other was
nowhere seen, and there where the other begins, or ends, both have shoulders and hips in the same place.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.attempts import find
from pipeline.attempts.signals import trunk_length
from pipeline.landmarks.paths import CORE
from pipeline.landmarks.track import Track

UNSEEN = 0.1  # share of the frames of a skill in which the other one may be seen
SAME_PLACE = 0.3  # trunks, mean over shoulders and hips; two bodies side by side are a trunk apart
WITHIN_S, BLINK_S = 1.0, 0.1  # of the end of the one's way; and what may be lost while the one is taken for the other


def rejoined(track: Track) -> Track:
    """The track with what came before its beginning, or after its end, of another's that passes into it and did a skill there: only where
    more skills are found for it so. Whose part it was is no longer among the others."""
    out = track
    for other in track.others:
        for late in (False, True):
            whole = _with_part(out, other, late)
            if whole is not None and len(find.find_attempts(whole)) > len(find.find_attempts(out)):
                out = replace(whole, others=tuple(one for one in out.others if one is not other))
    return out


def _with_part(track: Track, other: Track, late: bool) -> Track | None:
    """The track going over from another's, or (`late`) into it; None where that one did no skill there or they do not meet."""
    seen = np.flatnonzero(track.seen)
    if not len(seen) or not any(_missed(track, a.start_s, a.end_s, late) for a in find.find_attempts(other)):
        return None
    turn = slice(None, None, -1 if late else 1)  # backwards in time an end is a beginning
    met = _meeting(track.xy[turn][:, CORE], other.xy[turn][:, CORE], np.abs(track.t[turn] - track.t[turn][0]), trunk_length(track))
    if met is None:
        return None
    theirs, hers = np.zeros(len(track), bool), np.zeros(len(track), bool)
    theirs[turn][: met[0] + 1], hers[turn][met[1] :] = True, True

    def of(name: str, nothing: float = np.nan) -> np.ndarray:
        mine, others = getattr(track, name), getattr(other, name)
        shaped = (-1,) + (1,) * (mine.ndim - 1)
        return np.where(hers.reshape(shaped), mine, np.where((theirs & ~hers).reshape(shaped), others, nothing))

    return replace(
        track, xy=of("xy"), z=of("z"), visibility=of("visibility"), disagreement=of("disagreement"), presence=of("presence", 0.0)
    )  # fmt: skip


def _missed(track: Track, start_s: float, end_s: float, late: bool) -> bool:
    """Whether the track was not seen while another did a skill, and began after it or (`late`) ended before."""
    inside = (track.t >= start_s) & (track.t <= end_s)
    here = track.t[track.seen]
    away = start_s > here[-1] - WITHIN_S if late else end_s < here[0] + WITHIN_S
    return bool(away and inside.any() and track.seen[inside].mean() < UNSEEN)


def _meeting(mine: np.ndarray, others: np.ndarray, t: np.ndarray, unit: float) -> tuple[int, int] | None:
    """(their last frame, my first one): soon after I am seen first, where both (n, 4, 2) lie in the same place within a blink."""
    seen = np.flatnonzero(np.isfinite(mine).all(axis=(1, 2)))
    for i in seen[t[seen] <= t[seen[0]] + WITHIN_S] if len(seen) else []:
        before = np.flatnonzero((t <= t[i]) & (t >= t[i] - BLINK_S - 1e-9))
        apart = np.linalg.norm(mine[i] - others[before], axis=-1).mean(axis=-1) / unit
        if (apart < SAME_PLACE).any():
            return int(before[np.nanargmin(apart)]), int(i)
    return None
