"""The arms' lift: how fast, how soon and how smoothly the wrist goes about the shoulder."""

from __future__ import annotations

import numpy as np

from pipeline.stage.truths.geometry import Attempt, TrueDetail
from pipeline.vocabulary import ARMS_PER_S, SECONDS, SPARC, Side

SLOW = 0.05  # of the peak: where a movement starts and ends
HIGHEST_HZ, PAD = 10.0, 4  # of the spectrum, as published


def lift_details(a: Attempt) -> list[TrueDetail]:
    """Peak speed, time to it and smoothness of the nearer arm's lift, where the movement has one."""
    if a.span.lift is None:
        return []
    side = a.near.value or "left"
    arm = a.j[f"{side}_wrist"] - a.j[f"{side}_shoulder"]
    length = sum(np.linalg.norm(a.j[f"{side}_{p}"] - a.j[f"{side}_{q}"], axis=1)[0] for p, q in (("shoulder", "elbow"), ("elbow", "wrist")))
    speed = np.linalg.norm(np.gradient(arm, a.t, axis=0), axis=1) / length
    inside = np.flatnonzero(a.during(*a.span.lift))
    top = inside[np.argmax(speed[inside])]
    slow = speed < SLOW * speed[top]
    before, after = np.flatnonzero(slow[:top]), np.flatnonzero(slow[top:])
    first = max(before[-1] if len(before) else 0, inside[0])
    last = min(top + after[0] if len(after) else len(a.t) - 1, inside[-1])
    rows = (
        ("arm_peak_speed", float(speed[top]), ARMS_PER_S), ("arm_time_to_peak", float(a.t[top] - a.t[first]), SECONDS),
        ("arm_smoothness", spectral_arc_length(speed[first : last + 1], 1 / float(a.t[1] - a.t[0])), SPARC),
    )  # fmt: skip
    return [TrueDetail(name, Side.NONE, value, u) for name, value, u in rows]


def spectral_arc_length(speed: np.ndarray, rate: float) -> float:
    """Minus the arc length of the normalised spectrum of a speed profile up to 10 Hz or where it stays below 5 % of its height.

    Balasubramanian, Melendez-Calderon, Roby-Brami & Burdet 2015, On the analysis of movement smoothness, J NeuroEng Rehabil 12:112;
    -1.4 for one reach of least jerk, further below 0 the less smooth.
    """
    n = 2 ** (int(np.ceil(np.log2(len(speed)))) + PAD)
    height = np.abs(np.fft.rfft(speed, n))
    height /= height.max()
    hz = np.arange(len(height)) * rate / n
    kept = hz <= HIGHEST_HZ
    height, hz = height[kept], hz[kept]
    loud = np.flatnonzero(height >= SLOW)
    height, hz = height[loud[0] : loud[-1] + 1], hz[loud[0] : loud[-1] + 1]
    return -float(np.sum(np.hypot(np.diff(hz) / (hz[-1] - hz[0]), np.diff(height))))
