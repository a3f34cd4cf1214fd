"""Sharp or soft: how fast, how soon and how smoothly the arms lift into the lunge or the finish pose.

Neither is right by itself: a passage asks for the one or the other, and an athlete is compared with her own. The path of the
nearer wrist about its shoulder, in arm lengths, is brought onto an even clock and low-passed (second-order Butterworth, run both
ways, no delay); its speed is read from 5 % of the peak to 5 % of the peak.

What a phone can tell: a lift of 0.3 s has its speed's spectrum below about 6 Hz, so 30 frames a second show it and 24 barely do;
the low-pass takes some of the peak of a very sharp lift, see DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pipeline.attempts.once import once
from pipeline.landmarks.track import INDEX
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.look import Look, turned_to
from pipeline.measures.reading import Curve, Reading
from pipeline.measures.smoothness import spectral_arc_length
from pipeline.measures.uncertainty import PASSES_SHARE, Evidence, Table, make_reading
from pipeline.vocabulary import ARMS_PER_S, Side, Skill

RATE = 120.0  # of the even clock; well above what any phone films, so that times are finely drawn
CUTOFF_HZ = 6.0  # arms of walking and reaching hold little above it (Winter, from memory)
SLOW = 0.05  # of the peak: where a movement starts and ends (Balasubramanian et al. 2015)
TURNED_AWAY = 45.0  # degrees out of the picture that she may face; beyond it, arms that swing forward come at the camera
LONGEST_GAP_S = 0.12
COLLAPSED = 0.6  # of the arm's length: upper arm and forearm look shorter together only where landmarks left the arm (or it points at us)
ARM_SD = 0.10  # of a speed: how well the arm's length and the way it swings are known (on 60 lifts fast ones err in proportion)
BEFORE_S, AFTER_S = 0.6, 0.6
SEARCH_S = 2.5  # the arms may lift this long before the step into a lunge, or after the rise to standing
REACH_S = 1.2  # and be this long on their way before or after they pass the shoulders' height
HANGING, OVERHEAD = -0.25, 0.45  # trunks of the wrist above its shoulder
NEAR = 0.08  # trunks from its lowest and highest place at which the wrist is at rest
TRIES, SEED = 24, 11
FEW_FRAMES = 4  # of the movement; below, it is over before the phone has seen it
# How much of its peak a movement of least jerk keeps through the low-pass, by how many seconds the peak is wide at half its height
# afterwards; the same within 1 % at 24, 30 and 60 frames a second (tests/measures/test_further.py films and low-passes such movements).
KEPT = (
    np.array([0.092, 0.100, 0.108, 0.125, 0.133, 0.158, 0.200, 0.267, 0.400]),
    np.array([0.735, 0.798, 0.858, 0.903, 0.940, 0.963, 0.988, 0.995, 1.0]),
)
LOST_DOUBT = 0.5  # of what the low-pass took from the peak: not every lift is one of least jerk
RIVAL = 0.85  # of the highest peak
DETAILS = ("arm_peak_speed", "arm_time_to_peak", "arm_smoothness")
NO_LIFT = "The arms were not seen lifting from hanging to overhead. Film from before the arms move until the pose is still."
NOT_SIDEWAYS = (
    "She faced the camera or looked away from it while the arms lifted, so they swung out of the picture. Film the lift from the side."
)
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
    from scipy.signal import sosfiltfilt

    pad = min(len(values) - 1, int(rate))
    return sosfiltfilt(_filter(cutoff, rate), values, axis=0, padtype="constant", padlen=pad)


@lru_cache(maxsize=8)
def _filter(cutoff: float, rate: float) -> np.ndarray:
    from scipy.signal import butter

    return butter(2, cutoff / 0.802, fs=rate, output="sos")  # two passes of a second-order filter cut at 0.802 of its own (Winter)


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


def half_width(clock: np.ndarray, speed: np.ndarray, top: int) -> float:
    """Seconds for which the peak at sample `top` is higher than half of it."""
    under = speed < 0.5 * speed[top]
    before, after = np.flatnonzero(under[:top]), np.flatnonzero(under[top:])
    first = before[-1] if len(before) else 0
    last = top + after[0] if len(after) else len(clock) - 1
    return float(clock[last] - clock[first])


def arm_path(look: Look, start: float, end: float) -> tuple[np.ndarray, np.ndarray, float]:
    """(t, path (n, 2) of the nearer wrist about its shoulder in arm lengths, share of frames seen) between two moments.

    A frame whose upper arm and forearm together look far shorter than the arm is left out: elbow and wrist are on the body then, and
    one such frame in a soft lift would be its fastest. A bent arm's two parts stay long.
    """
    track, side = look.track, look.scene.near
    i = np.flatnonzero((track.t >= start) & (track.t <= end))
    points = look.placed(track.xy[i][:, [INDEX[f"{side}_{p}"] for p in ("shoulder", "elbow", "wrist")]])
    upper, fore = (np.linalg.norm(points[:, k] - points[:, k + 1], axis=-1) for k in (0, 1))
    seen = np.isfinite(upper + fore)
    arm = float(np.quantile(upper[seen], 0.8) + np.quantile(fore[seen], 0.8)) if seen.any() else float("nan")
    with np.errstate(invalid="ignore"):
        ok = seen & (upper + fore > COLLAPSED * arm)
    path = (points[ok, 2] - points[ok, 0]) / arm
    return track.t[i][ok], path, float(ok.mean()) if ok.sum() >= 4 else 0.0


def raised(look: Look, start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    """(t, (n,) trunks that the nearer wrist lies above its shoulder) between two moments; -1 hanging, 1 overhead."""
    side = look.scene.near
    t, xy = look.smooth((f"{side}_shoulder", f"{side}_wrist"), start, end, 0.1)
    up = (xy[:, 0] - xy[:, 1])[:, 1] / look.scene.unit
    return t[np.isfinite(up)], up[np.isfinite(up)]


def window_of(look: Look) -> tuple[float, float]:
    """Between which moments the arms go from hanging to overhead: into the lunge's line (the last time before the hold ends), or into
    the finish pose (the first time after the rise). NaN where they do not."""
    a, nan = look.attempt, (float("nan"), float("nan"))
    lunging = a.skill is Skill.LUNGE
    start, end = (a.start_s - SEARCH_S, a.key_end_s) if lunging else (a.moment("rise_s"), a.end_s + SEARCH_S)
    if not np.isfinite(start):
        return nan
    t, up = raised(look, start, end)
    found: list[tuple[float, float]] = []
    for i in np.flatnonzero((up[1:] > OVERHEAD) & (up[:-1] <= OVERHEAD)) + 1:
        hung = np.flatnonzero(up[:i] < HANGING)
        if len(hung) == 0 or (found and t[hung[-1]] < found[-1][1]):
            continue
        left = (t > t[hung[-1]] - REACH_S) & (t <= t[hung[-1]])
        came = (t >= t[i]) & (t < t[i] + REACH_S)
        rest, top = up[left].min(), np.quantile(up[came], 0.9)
        leaves = np.flatnonzero(left & (up < rest + NEAR))
        comes = np.flatnonzero(came & (up > top - NEAR))
        found.append((float(t[leaves[-1]]), float(t[comes[0]])))
    if not found:
        return nan
    return found[-1] if lunging else found[0]


@once
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
    way, _ = turned_to(look, start, end)
    if not problem and np.isfinite(way) and abs(np.sin(np.radians(way))) > np.sin(np.radians(TURNED_AWAY)):
        problem = NOT_SIDEWAYS
    if problem:
        return None, *nothing, share, problem
    if len(t) < 8 or np.max(np.diff(t)) > LONGEST_GAP_S:
        return None, *nothing, share, HIDDEN
    within = (start - 0.15, end + 0.1)
    clock, speed = speed_of(t, path)
    smooth = np.stack([np.interp(t, clock, c) for c in low_passed(even(t, path)[1]).T], axis=1)
    rate = 1 / float(np.median(np.diff(t)))
    left_over = max(1 - CUTOFF_HZ / (rate / 2), 0.2)  # the share of a white jitter that the low-pass leaves over
    jitter = 1.4826 * np.median(np.abs(path - smooth), axis=0) / np.sqrt(left_over)
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
    top = int(np.argmin(np.abs(clock - lift.top_s)))
    kept = float(np.interp(half_width(clock, speed, top), *KEPT))
    peak, sd[0] = peak / kept, np.hypot(sd[0] / kept, LOST_DOUBT * (1 / kept - 1) * peak)
    sd[1] = np.hypot(sd[1], _rivals(clock, speed, lift))
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
            passes = float(np.hypot(_passes(look, lift), ARM_SD)) * value if k == 0 else 0.0
            evidence = Evidence(value, spread=float(sd[k]), passes=passes, usable=share, at_s=lift.top_s, line=line, limits=limits)
        out.append(make_reading(look.attempt.skill, detail, Side.NONE, evidence, table))
    return out


def _rivals(clock: np.ndarray, speed: np.ndarray, lift: Lift) -> float:
    """sd of the time to the peak where another peak is nearly as high: which of them is the highest hangs on a hair."""
    inside = (clock > lift.start_s) & (clock < lift.end_s)
    inner = np.flatnonzero(inside[1:-1] & (speed[1:-1] >= speed[:-2]) & (speed[1:-1] > speed[2:])) + 1
    high = inner[speed[inner] > RIVAL * speed[inner].max()] if len(inner) else inner
    return float(np.ptp(clock[high]) / 2) if len(high) > 1 else 0.0


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
