"""What the further details look at: an attempt's scene, its moments, its points before smoothing, and which way she faces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.landmarks.track import INDEX, Track
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene
from pipeline.measures.smoothing import smooth_both_ways
from pipeline.measures.uncertainty import Evidence, Table
from pipeline.vocabulary import DETAIL, Side, Skill

DEPTH_SHARE = 1 / 3  # of the landmarks' depth: shoulders seen from the side come out three times as wide in depth as they are (41 clips)
FOCAL = 0.80  # of the picture's longer side: the main camera of common phones when filming (65 to 70 degrees across, from memory)
BOTH = (Side.LEFT, Side.RIGHT)
SURE = 0.75  # of a count that the known error must reach before the next count cannot be excluded


@dataclass(frozen=True)
class Look:
    """One attempt, ready for its further details."""

    scene: Scene
    track: Track
    attempt: Attempt
    lead: Side  # as filmed, else as on the roster

    def placed(self, xy: np.ndarray) -> np.ndarray:
        """Points of the picture (..., 2), levelled and stretched as the scene's are."""
        s = self.scene
        out = s.floor.level(xy) if s.floor is not None else xy
        return out * np.array([self.stretched, 1.0])

    @property
    def stretched(self) -> float:
        """How much wider than in the picture the scene's points lie, to put a side view square."""
        off = self.scene.off_square
        return 1 / float(np.cos(np.radians(min(off, 60.0)))) if self.scene.skill is not Skill.CARTWHEEL and np.isfinite(off) else 1.0

    def between(self, start: float, end: float) -> np.ndarray:
        """(n,) bool: the scene's frames from start to end; none where either is not known."""
        return (self.scene.t >= start - 1e-9) & (self.scene.t <= end + 1e-9)

    def smooth(self, names: tuple[str, ...], start: float, end: float, width: float) -> tuple[np.ndarray, np.ndarray]:
        """(t (m,), xy (m, k, 2)) of some landmarks between two moments, also beyond the scene; smoothed over `width` seconds each way."""
        i = np.flatnonzero((self.track.t >= start) & (self.track.t <= end))
        points = self.placed(self.track.xy[np.ix_(i, np.array([INDEX[name] for name in names]))])
        if len(i) == 0:
            return self.track.t[i], points
        flat, _ = smooth_both_ways(self.track.t[i], points.reshape(len(i), -1), width)
        return self.track.t[i], flat.reshape(points.shape)

    def in_space(self, xy: np.ndarray, depth: np.ndarray) -> np.ndarray:
        """(n, 3) points of the scene (n, 2) with their landmarks' depth (n,).

        What is further away looks smaller and nearer to the picture's middle: off the middle a line straight into the picture
        seems to slant. Scaling each point about the middle by its own distance takes that out.
        """
        s = self.scene
        away = DEPTH_SHARE * depth[:, None]
        centre = np.array([self.track.size[0] / 2, self.track.size[1] / 2])
        centre = s.floor.level(centre) if s.floor is not None else centre
        flat = xy / np.array([self.stretched, 1.0])
        return np.concatenate([centre + (flat - centre) * (1 + away / (FOCAL * max(self.track.size))), away], axis=-1)


def leg_pixels(scene: Scene) -> float:
    """The athlete's own leg, hip to knee to ankle: its longest appearance over the attempt (a high quantile), the longer side's."""
    out = []
    for side in BOTH:
        parts = [np.linalg.norm(scene.p(side, a) - scene.p(side, b), axis=-1) for a, b in (("hip", "knee"), ("knee", "ankle"))]
        if all(np.isfinite(p).any() for p in parts):
            out.append(sum(float(np.nanquantile(p, 0.85)) for p in parts))
    return max(out) if out else float("nan")


def make_count(look: Look, detail: str, counts: tuple[int, int, int], evidence: Evidence, table: Table) -> Reading:
    """The reading of a count: (likeliest, least, most) as the frames tell, one wider each way where the known error asks for it.

    Known errors of counts have no bias: `sd` and `factor` of the table's row only say whether the next count can be excluded.
    """
    key = (look.attempt.skill, detail)
    unit, nan = DETAIL[key].unit, float("nan")
    if evidence.problem:
        return Reading(detail, Side.NONE, nan, nan, nan, unit, float(evidence.usable), evidence.problem, evidence.at_s, evidence.line)
    value, least, most = counts
    wider = int(np.floor(table[key].factor * table[key].sd + 1 - SURE))
    most_of_all = evidence.limits[1]
    low, high = max(0.0, float(least - wider)), float(min(most + wider, most_of_all))
    return Reading(detail, Side.NONE, float(value), low, high, unit, float(evidence.usable), "", evidence.at_s, evidence.line)


def turned_to(look: Look, start: float, end: float, *, parts: Sequence[str] = ("shoulder", "hip")) -> tuple[float, float]:
    """(degrees, sd) which way she faces between two moments, seen from above: 0 to the picture's right, 90 away from the camera, -90
    towards it. From the lines right to left through shoulders and hips (or other `parts`): their length across the picture and their
    depth, each line's at a middle frame, so that a joint on another limb for a moment turns nothing.
    """
    s, track = look.scene, look.track
    i = np.flatnonzero((track.t >= start) & (track.t <= end))
    xy, lines, turns = look.placed(track.xy[i]), [], []
    for part in parts:
        left, right = (look.in_space(xy[:, INDEX[f"{side}_{part}"]], track.z[i, INDEX[f"{side}_{part}"]]) for side in BOTH)
        g = (left - right)[np.isfinite(left - right).all(axis=-1)]
        if len(g):
            lines.append(np.arctan2(-g[:, 0], g[:, 2]))
            turns.append(np.arctan2(-np.median(g[:, 0]), np.median(g[:, 2])))
    if not lines or not np.isfinite(s.unit):
        return float("nan"), float("nan")
    mean = float(np.angle(np.mean(np.exp(1j * np.array(turns)))))
    away = np.degrees(np.angle(np.exp(1j * (np.concatenate(lines) - mean))))
    apart = np.degrees(np.angle(np.exp(1j * (np.array(turns) - mean))))
    return float(np.degrees(mean)), float(np.hypot(np.std(away) / 2, np.ptp(apart) / 2))
