"""A cartwheel's knee, told frame by frame from near by (landmarks/cartwheels.py): the reading, and the curve.

It goes KNEE_SHARE of the way from what points draw to its words, however far that is: points draw a knee bent towards the phone straight, so that
they can neither confirm nor deny it. On 817 legs of drawn cartwheels, bodies that the network does not know, words 4 to 20 degrees below the
points' angle are 4 to 7 degrees off and the points' 7 to 19. But of real people who stand with straight legs the head says below 160 in one look
of six (models/CARD_CARTWHEELS.md). Hence a doubt of two fifths of the distance: what the points do not show is read, and hardly ever sure.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.ndimage import uniform_filter1d

from pipeline.landmarks.holds import eased
from pipeline.landmarks.track import CartwheelLook
from pipeline.measures.scene import Scene
from pipeline.measures.told import seen_elsewhere
from pipeline.measures.uncertainty import Evidence, robust_sd
from pipeline.vocabulary import Side

LOW = 0.4  # quantile of a cartwheel's words
LEAST_WORDS = 4  # frames
# added to what the error table says of words where a cartwheel's knee is read by points alone, which were off by 2.6 degrees (one sd, of 708 drawn
# legs) and by 3.7 of these downwards: degrees; of the sd, downwards
BY_POINTS, BELOW = 1.9, 1.0
KNEE_SHARE, KNEE_DOUBT = 0.8, 0.4
SCATTER = 0.5  # of the words' sd over the window that is doubt: the rest is the knee's own movement


def words_of(look: CartwheelLook, side: Side) -> np.ndarray:
    """(k,) degrees of one knee in the frames looked at."""
    return look.knees[:, 0 if side is Side.LEFT else 1]


def told_knee(scene: Scene, side: Side) -> tuple[np.ndarray, np.ndarray]:
    """((m,) seconds, (m,) degrees) of a cartwheel's knee in the frames of the key window that were looked at from near by: inf where a joint was
    seen elsewhere, NaN where one lay beyond the crop. None where nobody looked."""
    look = scene.cartwheel
    if look is None:
        return np.empty(0), np.empty(0)
    upside_down = (look.t >= look.start - 1e-9) & (look.t <= look.end + 1e-9)
    return look.t[upside_down], words_of(look, side)[upside_down]


def least_told(evidence: Evidence, t: np.ndarray, word: np.ndarray) -> Evidence:
    """A cartwheel's knee at its most bent, moved from what points draw towards the words of its key window, `told_knee`; as it came, and as doubtful
    as points alone are, where words are fewer than LEAST_WORDS; without a value where joints are seen elsewhere in more frames than not.

    The LOW quantile of the words is read: single ones err by 4 degrees, so that the lowest of all lies too low, and a knee that bends and
    straightens again is most bent in a part of the frames. A part of their scatter, and of how far they are from the points, is its doubt.
    """
    known = np.isfinite(word)
    if np.isinf(word).sum() > known.sum():
        return seen_elsewhere(evidence, "Upside down")
    if evidence.problem or not np.isfinite(evidence.value):
        return evidence
    if known.sum() < LEAST_WORDS:
        sd = float(np.hypot(evidence.spread, BY_POINTS))
        return replace(evidence, spread=sd, below=float(np.hypot(BELOW * sd, evidence.below)))
    low = float(np.quantile(word[known], LOW))
    apart = low - evidence.value
    at = float(t[known][np.argmin(np.abs(word[known] - low))])
    return replace(
        evidence, value=evidence.value + KNEE_SHARE * apart, spread=SCATTER * robust_sd(word[known]), passes=KNEE_DOUBT * abs(apart), below=0.0, at_s=at
    )  # fmt: skip


def knee_curve(scene: Scene, side: Side, value: np.ndarray) -> np.ndarray:
    """(n,) degrees of a cartwheel's knee at every frame, moved KNEE_SHARE of the way to its word where it was looked at from near by, each word the
    mean with its neighbours, and gradually as the points have it EASE_S before and after; as it came where nobody looked."""
    look = scene.cartwheel
    if look is None:
        return value
    word = words_of(look, side)
    ok = np.isfinite(word) & np.isfinite(np.interp(look.t, scene.t, value))
    if ok.sum() < LEAST_WORDS:
        return value
    t, smooth = look.t[ok], uniform_filter1d(word[ok], 3, mode="nearest")
    moved = np.interp(scene.t, t, smooth - np.interp(t, scene.t, value))
    return value + KNEE_SHARE * moved * eased(scene.t, (t[0], t[-1]))
