"""How little a track looks like one body followed all the way, and how much that body does: so it is told of several followings of one
clip which to believe."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.paths import CORE, torso
from pipeline.landmarks.track import INDEX, Track

LIMBS = np.array(
    [
        (INDEX[f"{s}_{a}"], INDEX[f"{s}_{b}"])
        for s in ("left", "right")
        for a, b in (("shoulder", "hip"), ("hip", "knee"), ("knee", "ankle"))
    ]
)
JOINTS = np.unique(LIMBS)
ENDS = [INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("wrist", "knee", "ankle")]
AT_THE_EDGE = 0.5  # trunks from shoulders or hips to the picture's edge: who is not seen after that may have left it
LEAP = 0.3  # trunks off the straight way from the frame before to the one after; a child's foot in a cartwheel: 0.07, at 15 frames a second 0.3


def unsteadiness(track: Track) -> float:
    """0 for a body that is seen throughout, moves smoothly and keeps its limbs' lengths in the picture; 0.1 is usual, 1 is nobody.

    A sum of three: the share of frames in which she is lost within the picture; the share, of those seen, in which a shoulder, hip, knee or
    ankle leaps; the spread (standard deviation of the logarithm) of her limbs' lengths, a mean over the trunk's sides, thighs and shanks.
    Limbs also look shorter as they turn towards the camera: so followings of one clip compare better than clips do.
    """
    if not track.seen.any():
        return 1.0
    return float(lost(track).mean()) + _leaps(track) + _spread(track)


def extent(track: Track) -> float:
    """How far she moves her limbs, in trunks: 4 upside down and up again, 1 who stands and looks on, 0 nobody.

    Wrists, knees and ankles as the hips see them; of each the diagonal of a box that holds its places, less the outermost 5 % on each side;
    their mean. So neither a walk nor a few leaps count.
    """
    if not track.seen.any():
        return 0.0
    about = track.xy[:, ENDS] - track.xy[:, CORE[2:]].mean(axis=1, keepdims=True)
    about = about[:, np.isfinite(about).all(axis=2).any(axis=0)]
    low, high = np.nanpercentile(about, (5, 95), axis=0)
    return float(np.linalg.norm(high - low, axis=-1).mean() / np.nanmedian(torso(track.xy))) if about.size else 0.0


def lost(track: Track) -> np.ndarray:
    """(n,) bool: shoulders and hips are not all seen, though before and after they were farther than AT_THE_EDGE inside the picture."""
    core = track.xy[:, CORE]
    seen = np.isfinite(core).all(axis=(1, 2))
    if not seen.any():
        return ~seen
    inside = np.minimum(core, np.array(track.size) - core).min(axis=(1, 2)) > AT_THE_EDGE * np.nanmedian(torso(track.xy))
    rows = np.flatnonzero(seen)
    after = np.searchsorted(rows, np.arange(len(seen)))
    return ~seen & inside[rows[np.maximum(after - 1, 0)]] & inside[rows[np.minimum(after, len(rows) - 1)]]


def _leaps(track: Track) -> float:
    xy = track.xy[:, JOINTS]
    off = np.linalg.norm(xy[2:] - 2 * xy[1:-1] + xy[:-2], axis=-1)
    known = np.isfinite(off).any(axis=1)
    return float((off > LEAP * np.nanmedian(torso(track.xy))).any(axis=1)[known].mean()) if known.any() else 1.0


def _spread(track: Track) -> float:
    lengths = np.linalg.norm(track.xy[:, LIMBS[:, 0]] - track.xy[:, LIMBS[:, 1]], axis=-1)
    seen = np.isfinite(lengths)
    logs = np.log(np.fmax(lengths, 1.0), where=seen, out=np.full(lengths.shape, np.nan))[:, seen.any(axis=0)]
    return float(np.nanstd(logs, axis=0).mean()) if logs.size else 0.0
