"""Sharp or soft: how fast, how soon and how smoothly the arms lift into the lunge or the finish pose.

Neither is right by itself: a passage asks for the one or the other, and an athlete is compared with her own. The path of the
nearer wrist about its shoulder, in arm lengths, is brought onto an even clock and low-passed (second-order Butterworth, run both
ways, no delay); its speed is read from 5 % of the peak to 5 % of the peak.

What a phone can tell: a lift of 0.3 s has its speed's spectrum below about 6 Hz, so 30 frames a second show it and 24 barely do;
the low-pass takes some of the peak of a very sharp lift, see DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.landmarks.track import INDEX
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.look import Look
from pipeline.measures.reading import Curve, Reading
from pipeline.measures.smoothness import spectral_arc_length
from pipeline.measures.uncertainty import PASSES_SHARE, Evidence, Table, make_reading
from pipeline.vocabulary import ARMS_PER_S, Side, Skill

RATE = 120.0  # of the even clock; well above what any phone films, so that times are finely drawn
CUTOFF_HZ = 6.0  # arms of walking and reaching hold little above it (Winter, from memory)
SLOW = 0.05  # of the peak: where a movement starts and ends (Balasubramanian et al. 2015)
LONGEST_GAP_S = 0.12
BEFORE_S, AFTER_S = 0.4, 0.5
TRIES, SEED = 24, 11
FEW_FRAMES = 4  # of the movement; below, it is over before the phone has seen it
DETAILS = ("arm_peak_speed", "arm_time_to_peak", "arm_smoothness")
NO_LIFT = "The arms were not seen lifting from the side. Film from before the arms move until the pose is still."
HIDDEN = "The nearer arm was lost while it lifted. Stand square to the side, with nobody between."


@dataclass(frozen=True)
class Lift:
    """One lift's numbers: arm lengths a second, seconds, spectral arc length; and when the movement starts, peaks and ends."""

    peak: float
    to_peak: float
    smooth: float
    start_s: float
    top_s: float
    end_s: float

    @property
    def numbers(self) -> np.ndarray:
        return np.array([self.peak, self.to_peak, self.smooth])


def low_passed(values: np.ndarray, cutoff: float = CUTOFF_HZ, rate: float = RATE) -> np.ndarray:
    """values (n, k) on an even clock, without what is quicker than the cutoff; both ways, so that nothing is delayed."""
    from scipy.signal import butter, sosfiltfilt

    sos = butter(2, cutoff / 0.802, fs=rate, output="sos")  # two passes of a second-order filter cut at 0.802 of its own (Winter)
    pad = min(len(values) - 1, int(rate))
    return sosfiltfilt(sos, values, axis=0, padtype="constant", padlen=pad)


def even(t: np.ndarray, path: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(clock (m,), path (m, 2)): a smooth curve through the points, on an even clock of RATE a second."""
    from scipy.interpolate import PchipInterpolator

    clock = np.arange(t[0], t[-1], 1 / RATE)
    return clock, PchipInterpolator(t, path, axis=0)(clock)


def speed_of(t: np.ndarray, path: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(clock, speed (m,)) of a path (n, 2), low-passed, in its unit a second."""
    clock, points = even(t, path)
    return clock, np.linalg.norm(np.gradient(low_passed(points), 1 / RATE, axis=0), axis=1)


def lift_of(clock: np.ndarray, speed: np.ndarray, within: tuple[float, float], floor: float = 0.0) -> Lift | None:
    """The fastest movement between two moments, from and to 5 % of its peak (or the noise's own speed, where that is more)."""
    inside = np.flatnonzero((clock >= within[0]) & (clock <= within[1]))
    if len(inside) < 8:
        return None
    top = int(inside[np.argmax(speed[inside])])
    slow = speed < max(SLOW * speed[top], min(floor, 0.2 * speed[top]))
    before, after = np.flatnonzero(slow[:top]), np.flatnonzero(slow[top:])
    first = int(before[-1]) if len(before) else 0
    last = int(top + after[0]) if len(after) else len(clock) - 1
    smooth = spectral_arc_length(speed[first : last + 1], RATE)
    return Lift(float(speed[top]), float(clock[top] - clock[first]), smooth, float(clock[first]), float(clock[top]), float(clock[last]))


def arm_path(look: Look, start: float, end: float) -> tuple[np.ndarray, np.ndarray, float]:
    """(t, path (n, 2) of the nearer wrist about its shoulder in arm lengths, share of frames seen) between two moments."""
    track, side = look.track, look.scene.near
    i = np.flatnonzero((track.t >= start) & (track.t <= end))
    points = look.placed(track.xy[i][:, [INDEX[f"{side}_{p}"] for p in ("shoulder", "elbow", "wrist")]])
    ok = np.isfinite(points).all(axis=(1, 2))
    if ok.sum() < 4:
        return track.t[i][ok], points[ok, 2] - points[ok, 0], 0.0
    upper, fore = (np.linalg.norm(points[ok, k] - points[ok, k + 1], axis=-1) for k in (0, 1))
    arm = float(np.quantile(upper, 0.8) + np.quantile(fore, 0.8))
    return track.t[i][ok], (points[ok, 2] - points[ok, 0]) / arm, float(ok.mean())


def window_of(look: Look) -> tuple[float, float]:
    """Between which moments the arms lift: into the lunge's line, or into the finish pose after the rise."""
    a = look.attempt
    if a.skill is Skill.LUNGE:
        return a.moment("arms_start_s"), a.moment("hold_start_s")
    return a.moment("rise_s"), a.moment("finish_s")


def measured_lift(look: Look) -> tuple[Lift | None, np.ndarray, np.ndarray, np.ndarray, float, str]:
    """(lift, sd of its three numbers, clock, speed, share of frames seen, why there is none)."""
    start, end = window_of(look)
    nothing = np.full(3, np.nan), np.zeros(0), np.zeros(0)
    if blocked := problem_of(look.scene, 1.0, "", "", words.SIDE_VIEW):
        return None, *nothing, 0.0, blocked
    if not np.isfinite(end - start):
        return None, *nothing, 0.0, NO_LIFT
    t, path, share = arm_path(look, start - BEFORE_S, end + AFTER_S)
    problem = problem_of(look.scene, share, "nearer arm", "lift of the arms", words.SIDE_VIEW)
    if problem:
        return None, *nothing, share, problem
    if len(t) < 8 or np.max(np.diff(t)) > LONGEST_GAP_S:
        return None, *nothing, share, HIDDEN
    within = (start - 0.1, end)
    clock, speed = speed_of(t, path)
    smooth = np.stack([np.interp(t, clock, c) for c in low_passed(even(t, path)[1]).T], axis=1)
    rate = 1 / float(np.median(np.diff(t)))
    kept = max(1 - CUTOFF_HZ / (rate / 2), 0.2)  # the share of a white jitter that the low-pass leaves over
    jitter = 1.4826 * np.median(np.abs(path - smooth), axis=0) / np.sqrt(kept)
    rng = np.random.default_rng(SEED)
    noisier = [speed_of(t, path + jitter * rng.standard_normal(path.shape))[1] for _ in range(TRIES)]
    floor = 2 * float(np.median([np.median(np.abs(n - speed)) for n in noisier]))
    lift = lift_of(clock, speed, within, floor)
    tries = [found for n in noisier if (found := lift_of(clock, n, within, floor * np.sqrt(2))) is not None]
    if lift is None or len(tries) < TRIES // 2:
        return None, *nothing, share, NO_LIFT
    if (lift.end_s - lift.start_s) * rate < FEW_FRAMES:
        why = f"The lift was over within {FEW_FRAMES} frames of this clip, too few to tell its speed. Film at 60 frames a second."
        return None, *nothing, share, why
    every = np.array([found.numbers for found in tries])
    sd = np.nanstd(every, axis=0)
    peak = lift.peak - (np.nanmedian(every[:, 0]) - lift.peak)  # jitter makes a peak higher: as much again as it adds is taken off
    smoothness = lift.smooth - (np.nanmedian(every[:, 2]) - lift.smooth)
    sd[1] = np.hypot(sd[1], 0.29 / rate)
    return Lift(peak, lift.to_peak, smoothness, lift.start_s, lift.top_s, lift.end_s), sd, clock, speed, share, ""


def readings(look: Look, table: Table) -> list[Reading]:
    """Peak speed, time to it and smoothness of the arms' lift."""
    side = look.scene.near
    line = names((side, "shoulder"), (side, "elbow"), (side, "wrist"))
    lift, sd, _, _, share, problem = measured_lift(look)
    out = []
    for k, detail in enumerate(DETAILS):
        if lift is None:
            evidence = Evidence(float("nan"), usable=share, line=line, problem=problem)
        else:
            limits = (-np.inf, 0.0) if detail == "arm_smoothness" else (0.0, np.inf)
            value = float(lift.numbers[k])
            passes = _passes(look, lift) * value if k == 0 else 0.0
            evidence = Evidence(value, spread=float(sd[k]), passes=passes, usable=share, at_s=lift.top_s, line=line, limits=limits)
        out.append(make_reading(look.attempt.skill, detail, Side.NONE, evidence, table))
    return out


def _passes(look: Look, lift: Lift) -> float:
    """Share of the speed that the passes' disagreement about the wrist leaves open."""
    s = look.scene
    i = INDEX[f"{s.near}_wrist"]
    during = (look.track.t >= lift.start_s) & (look.track.t <= lift.end_s)
    off = look.track.disagreement[during, i]
    return float(PASSES_SHARE * np.nanmedian(off) / s.unit) if np.isfinite(off).any() else 0.0


def curve(look: Look, table: Table) -> list[Curve]:
    """The speed of the arms around the lift; nothing where there is none."""
    lift, sd, clock, speed, _, _ = measured_lift(look)
    if lift is None:
        return []
    shown = (clock >= lift.start_s - 0.2) & (clock <= lift.end_s + 0.2)
    t, v = clock[shown][::2], speed[shown][::2]
    half = 1.96 * float(np.hypot(sd[0], 0.05 * lift.peak))
    return [Curve("arm_peak_speed", Side.NONE, ARMS_PER_S, t, v, np.maximum(v - half, 0.0), v + half)]
