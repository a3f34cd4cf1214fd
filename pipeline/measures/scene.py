"""One attempt made ready to measure: joints smoothed and levelled, the view, the nearer side, the floor, the athlete's own lengths."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.facing import nearer_side
from pipeline.attempts.floor import Floor, find_floor
from pipeline.attempts.signals import trunk_length
from pipeline.geometry import length
from pipeline.landmarks.near_angles import COUNT, HIPS
from pipeline.landmarks.net import FEATURES
from pipeline.landmarks.track import INDEX, CartwheelLook, Track
from pipeline.measures.learnt import Corrections, corrections
from pipeline.measures.smoothing import smooth_both_ways
from pipeline.vocabulary import Side, Skill

WIDTH_S = {Skill.LUNGE: 0.20, Skill.LOADED_LUNGE: 0.20, Skill.SHOULDER_STAND: 0.20, Skill.BACKWARD_ROLL: 0.10, Skill.CARTWHEEL: 0.10}
MARGIN_S = 0.5  # frames this far outside the attempt steady its ends
SHOULDER_WIDTH = 0.62  # of the trunk; joint to joint, children 6 to 10 (from Snyder et al. 1977, from memory)
HIP_WIDTH = 0.40
NO_FEATURES = np.full(2 * FEATURES, np.nan)
DOUBTFUL = 0.33  # trunks between the passes; beyond it limbs are exchanged in nearly half of the frames (measured on rendered clips)


@dataclass(frozen=True)
class Scene:
    """Frames of one attempt (and a little around it). Pixels are levelled: the floor runs along x, y down."""

    skill: Skill
    t: np.ndarray  # (n,) seconds
    xy: np.ndarray  # (n, 33, 2) smoothed, levelled pixels, x stretched by the view's angle in side views
    z: np.ndarray  # (n, 33) smoothed depth
    jitter: np.ndarray  # (n, 33) pixels, sd left in a smoothed point by frame-to-frame noise
    disagreement: np.ndarray  # (n, 33) pixels between the passes
    height: np.ndarray  # (n, 33) pixels above the floor; NaN where the floor is not known
    inside: np.ndarray  # (n,) bool, within the attempt
    key: np.ndarray  # (n,) bool, within the key window
    unit: float  # pixels a trunk
    floor: Floor | None
    facing: int
    near: Side
    lead: Side
    off_square: float  # degrees the view is off the one wanted, estimated
    source: str
    same_length: float = 1.0  # how long the legs look in the key window, against the whole clip
    learnt: Corrections = field(default_factory=dict)  # what is known of the errors at such poses
    features: np.ndarray = field(
        default_factory=lambda: NO_FEATURES
    )  # (2 FEATURES,) by a look from near by at the key window, as if she faced right
    told: np.ndarray = field(default_factory=lambda: np.full(COUNT, np.nan))  # degrees of near_angles over a hold, from near by
    cartwheel: CartwheelLook | None = None  # what is told of a cartwheel's knees, from near by

    def p(self, side: Side, part: str) -> np.ndarray:
        """(n, 2) one joint's pixels."""
        return self.xy[:, INDEX[f"{side}_{part}"]]

    def turned(self, degrees: float) -> Scene:
        """The same as if the view were off square by `degrees` more (side views): x stretched accordingly."""
        now, then = np.cos(np.radians(self.off_square)), np.cos(np.radians(np.clip(self.off_square + degrees, 0, 60)))
        return replace(self, xy=self.xy * np.array([now / then, 1.0]))

    def noise(self, *points: tuple[Side, str]) -> np.ndarray:
        """(n, k) pixels: the passes' disagreement at some joints; 0 where only one pass saw it."""
        return np.nan_to_num(self.disagreement[:, [INDEX[f"{side}_{part}"] for side, part in points]])


def other(side: Side) -> Side:
    """The other side of the body."""
    return Side.RIGHT if side is Side.LEFT else Side.LEFT


def make_scene(track: Track, attempt: Attempt, *, lead_side: Side = Side.NONE, learnt: Corrections | None = None) -> Scene:
    """The frames of an attempt, smoothed both ways, levelled by the floor and, in side views, corrected for the view's angle.

    learnt: what is known of the errors at poses; the committed table where none is given.
    """
    unit = trunk_length(track)
    around = (track.t >= attempt.start_s - MARGIN_S) & (track.t <= attempt.end_s + MARGIN_S)
    i = np.flatnonzero(around)
    t = track.t[i]
    floor = find_floor(track, unit) if np.isfinite(unit) else None
    seen = without_doubtful(track.xy[i], track.disagreement[i], unit)
    points = np.concatenate([seen.reshape(len(i), -1), track.z[i]], axis=1)
    smoothed, sd = smooth_both_ways(t, points, WIDTH_S[attempt.skill]) if len(i) else (points, points)
    xy, z = smoothed[:, :66].reshape(len(i), 33, 2), smoothed[:, 66:]
    jitter = np.sqrt(np.mean(sd[:, :66].reshape(len(i), 33, 2) ** 2, axis=-1))
    height = floor.height(xy, t) if floor is not None else np.full(xy.shape[:2], np.nan)
    if floor is not None:
        xy = floor.level(xy)
    near, _ = nearer_side(track, attempt.start_s, attempt.end_s, attempt.direction)
    inside = (t >= attempt.start_s - 1e-9) & (t <= attempt.end_s + 1e-9)
    key = (t >= attempt.key_start_s - 1e-9) & (t <= attempt.key_end_s + 1e-9)
    off = off_side(xy, unit) if attempt.skill is not Skill.CARTWHEEL else off_front(xy[key], unit)
    if attempt.skill is not Skill.CARTWHEEL:
        xy = xy * np.array([1 / np.cos(np.radians(min(off, 60.0))), 1.0]) if np.isfinite(off) else xy
    return Scene(
        attempt.skill, t, xy, z, jitter, track.disagreement[i], height, inside, key, unit, floor, attempt.direction, near, attempt.lead_side or lead_side,
        off, track.source, same_length(track, attempt), corrections() if learnt is None else learnt, *word_of(track, attempt),
        cartwheel_look(track, attempt),
    )  # fmt: skip


def word_of(track: Track, attempt: Attempt) -> tuple[np.ndarray, np.ndarray]:
    """What a look from near by at an attempt's hold tells beyond points; NaN where nobody looked.

    (2 FEATURES,) features: of the looks in which she faces right, then of those in which she faces left (the picture's or its mirror's); and
    (COUNT,) degrees of near_angles, hips counted round her front.
    """
    for look in track.looks:
        if (look.start, look.end) == (attempt.key_start_s, attempt.key_end_s):
            plain, mirrored = look.features
            told = look.angles.copy()
            if attempt.direction < 0:
                told[list(HIPS)] = abs(360 - told[list(HIPS)])  # what is inf stays so
            return np.concatenate([plain, mirrored] if attempt.direction > 0 else [mirrored, plain]).astype(float), told
    return NO_FEATURES, np.full(COUNT, np.nan)


def cartwheel_look(track: Track, attempt: Attempt) -> CartwheelLook | None:
    """What is told of a cartwheel's knees; None of other skills, and where nobody looked."""
    if attempt.skill is not Skill.CARTWHEEL:
        return None
    return next((look for look in track.cartwheels if (look.start, look.end) == (attempt.key_start_s, attempt.key_end_s)), None)


def same_length(track: Track, attempt: Attempt) -> float:
    """How long the athlete's longer leg looks in the key window as a share of how it looks over the clip (high quantiles); 1 where
    either is not known. A child's legs stay as long as they are: far less tells of another body."""
    sides = []
    for side in (Side.LEFT, Side.RIGHT):
        hip, knee, ankle = (track[f"{side}_{part}"] for part in ("hip", "knee", "ankle"))
        sides.append(length(hip, knee) + length(knee, ankle))
    legs = np.fmax(*sides)
    key = (track.t >= attempt.key_start_s) & (track.t <= attempt.key_end_s)
    if not np.isfinite(legs[key]).any():
        return 1.0
    return float(np.nanquantile(legs[key], 0.8) / np.nanquantile(legs, 0.8))


def without_doubtful(xy: np.ndarray, disagreement: np.ndarray, unit: float) -> np.ndarray:
    """The points (n, 33, 2) with those taken out, as gaps, of which the passes disagree by more than a limb can be misplaced."""
    with np.errstate(invalid="ignore"):
        doubtful = disagreement > DOUBTFUL * unit
    return np.where(doubtful[..., None], np.nan, xy)


def off_side(xy: np.ndarray, unit: float) -> float:
    """Degrees a side view is off square, 0..90, from how far the left shoulder and hip appear beside the right ones.

    The line from right to left is the one a roll turns about, so its sign in the picture stays the same throughout: the signed
    widths are taken over all frames before the size, and jitter cancels. On followed clips this is right within about 10 degrees.
    """
    shares = []
    for part, wide in (("shoulder", SHOULDER_WIDTH), ("hip", HIP_WIDTH)):
        across = (xy[:, INDEX[f"left_{part}"]] - xy[:, INDEX[f"right_{part}"]])[:, 0]
        if np.isfinite(across).any():
            shares.append(float(np.nanmedian(across)) / (wide * unit))
    if not shares:
        return float("nan")
    return float(abs(np.degrees(np.arcsin(np.clip(np.mean(shares), -0.98, 0.98)))))


def off_front(xy: np.ndarray, unit: float) -> float:
    """Degrees a front view is off square, from how narrow shoulders and hips appear."""
    shares = []
    for part, wide in (("shoulder", SHOULDER_WIDTH), ("hip", HIP_WIDTH)):
        apparent = length(xy[:, INDEX[f"left_{part}"]], xy[:, INDEX[f"right_{part}"]])
        if np.isfinite(apparent).any():
            shares.append(float(np.nanquantile(apparent, 0.8)) / (wide * unit))
    if not shares:
        return float("nan")
    return float(np.degrees(np.arccos(np.clip(np.max(shares), 0, 1))))
