"""Which of the people followed is the athlete: the one who moves through the skill.

Measured against the person's own size and the scene held still: how far the trunk turns, how long it is upside down or in the
lunge's shape, how far the hips travel and how the limbs move. A spotter walks and reaches, but stays upright, the hands below
the head; a child behind waits. Others do skills of their own: whoever films is near the one filmed, and holds the phone on her.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pipeline.landmarks.join import Person
from pipeline.landmarks.paths import CORE, MAIN, Path, torso
from pipeline.landmarks.track import INDEX

LIMBS = np.array([INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("wrist", "knee", "ankle")])
CLEAR = 0.6  # mean height of the main joints' heatmaps of a clear sight
SMOOTH = 5  # frames of a running median against single wrong frames
ARMS_UP, LEGS_APART, ON_FEET = 0.4, 0.6, 0.4  # torsos: both hands above the shoulders, ankles apart, hips above both ankles
FAR = 1.5  # torsos of way that count: who turns over goes further, but so does who only walks through the picture
STANDS_SO_S = 0.3  # seconds that count of the lunge's shape where it is never left: who stands so from first to last does no lunge
HELD = 9  # frames of a running median of the shape
BYSTANDER, BYSTANDER_LEAN = 0.4, 35.0  # share of the most active one's score; degrees
BYSTANDER_STEP, BYSTANDER_SPEED = 0.3, 4.0  # torsos from look to look; torsos a second, but for jitter
NEARNESS = 0.5  # power of the size beside the largest person's
ASIDE = 0.3  # of the picture's width from its middle: who mostly is so far from where the phone is held counts half
CLOSE_CALL = 0.6  # runner-up's activity per winner's, above which the choice is in doubt
POSSIBLE, MOST_POSSIBLE = 0.35, 3  # share of the winner's activity from which somebody may be the athlete after all; so many are kept
OPEN_CHOICE = "Two people move much alike"  # how the note of such a clip begins


@dataclass(frozen=True)
class Activity:
    """What a person did in a stretch."""

    turned: float  # degrees the trunk's direction ranges over
    inverted_s: float  # seconds with the hips above the shoulders
    travelled: float  # torsos: range of the hips' way over the floor
    limbs: float  # torsos: how far wrists, knees and ankles range about the trunk
    seen_s: float
    size: float = 1.0  # torso length, pixels
    lunge_s: float = 0.0  # seconds on the feet, legs apart and both arms up
    clear: float = 1.0  # 0..1 how clearly the body was seen: what jumps about between two people moves a lot, but unclearly
    aside: float = 0.0  # picture widths: how far the hips mostly are from the picture's middle, to a side

    def among(self, largest: float) -> float:
        """The score beside others, the largest torso being so long: who is filmed is near and in the middle, who waits behind is small."""
        return self.score * min(1.0, self.size / max(largest, 1e-6)) ** NEARNESS * held_on(self.aside)

    @property
    def score(self) -> float:
        """One number; comparable between people of one clip that look alike large."""
        return (
            min(self.turned, 360.0) / 90.0
            + 2.0 * min(self.inverted_s, 1.5)
            + 2.0 * min(self.lunge_s, 1.5, STANDS_SO_S + self.seen_s - self.lunge_s)
            + 0.25 * min(self.travelled, FAR)
            + 0.8 * min(self.limbs, 2.5)
        ) * (min(1.0, self.seen_s / 0.5) * self.clear**2)


def held_on(aside: float) -> float:
    """1 for somebody in the middle of the picture, half as much ASIDE from it."""
    return 1.0 / (1.0 + (aside / ASIDE) ** 2)


def bystanders(paths: list[Path], t: np.ndarray, camera: np.ndarray) -> list[Path]:
    """Passes on people who surely only stand by: upright all the time, without a jump, and far less active than another."""
    did = [activity(path, t, camera) for path in paths]
    most = max((a.score for a in did), default=0.0)
    out = []
    for path, done in zip(paths, did, strict=True):
        rows = np.flatnonzero(path.valid)
        if len(rows) < 0.5 * len(t) or done.score > BYSTANDER * most:
            continue
        up = path.shoulders[rows] - path.hips[rows]
        lean = np.abs(np.degrees(np.arctan2(up[:, 0], -up[:, 1])))
        looks = np.flatnonzero(path.valid & path.looked)
        steps = np.linalg.norm(np.diff(path.hips[looks], axis=0), axis=1) / np.median(torso(path.xy[rows]))
        fast = steps / np.diff(t[looks]) >= BYSTANDER_SPEED
        if lean.max() < BYSTANDER_LEAN and steps.max(initial=0.0) < BYSTANDER_STEP and fast.sum() < 0.02 * len(rows):
            out.append(path)
    return out


def activity(person: Person | Path, t: np.ndarray, camera: np.ndarray, *, width: float | None = None) -> Activity:
    """`t` (n,) seconds and `camera` (n, 2) shift of the scene for the person's frames; where in a picture so wide is not asked without it."""
    ok = person.valid & np.isfinite(person.xy[:, CORE].sum((1, 2)))
    if ok.sum() < 3:
        return Activity(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    xy, times = person.xy[ok], t[ok]
    dt = np.minimum(np.gradient(times), 0.2)
    size = float(np.percentile(torso(xy), 75))
    clear = float(np.minimum(person.peak[ok][:, MAIN].mean(1) / CLEAR, 1.0).mean())
    shoulders, hips = xy[:, CORE[:2]].mean(1), xy[:, CORE[2:]].mean(1)
    up = _median(shoulders - hips)
    angle = np.degrees(np.unwrap(np.arctan2(up[:, 0], -up[:, 1])))
    turned = float(np.percentile(angle, 98) - np.percentile(angle, 2))
    inverted = float(dt[up[:, 1] > 0.3 * size].sum())
    way = _median(hips - camera[ok])
    travelled = float(np.linalg.norm(np.percentile(way, 97, axis=0) - np.percentile(way, 3, axis=0)) / size)
    # limbs in the trunk's own frame, so that turning as a whole does not count twice
    cos, sin = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    about = xy[:, LIMBS] - hips[:, None]
    local = np.stack(
        [about[..., 0] * cos[:, None] + about[..., 1] * sin[:, None], about[..., 1] * cos[:, None] - about[..., 0] * sin[:, None]], -1
    )
    spread = np.percentile(local, 95, axis=0) - np.percentile(local, 5, axis=0)
    moved = float(np.linalg.norm(spread, axis=1).mean() / size)
    aside = float(np.median(np.abs(hips[:, 0] / width - 0.5))) if width else 0.0
    return Activity(turned, inverted, travelled, moved, float(dt.sum()), size, float(dt[_lunging(xy, size)].sum()), clear, aside)


def _lunging(xy: np.ndarray, size: float) -> np.ndarray:
    """(n,) bool: on the feet, legs apart, both arms up."""
    from scipy.ndimage import median_filter

    def pair(part: str) -> np.ndarray:
        return xy[:, [INDEX[f"left_{part}"], INDEX[f"right_{part}"]]]

    up = pair("shoulder")[..., 1].mean(1) - pair("wrist")[..., 1].max(1)
    ankles = pair("ankle")
    stands = ankles[..., 1].min(1) - pair("hip")[..., 1].mean(1)
    shape = (up > ARMS_UP * size) & (np.abs(np.diff(ankles[..., 0], axis=1)[:, 0]) > LEGS_APART * size) & (stands > ON_FEET * size)
    return np.asarray(median_filter(shape.astype(np.uint8), size=min(HELD, len(shape)), mode="nearest") > 0)


def _median(points: np.ndarray) -> np.ndarray:
    from scipy.ndimage import median_filter

    return median_filter(points, size=(min(SMOOTH, len(points)), 1), mode="nearest")


def scores(did: list[Activity]) -> list[float]:
    """How active each was, beside the others."""
    largest = max((a.size for a in did if a.score > 0), default=1.0)
    return [a.among(largest) for a in did]


def doubt(scores: list[float]) -> float:
    """0 where one stands out, towards 1 where the two most active are alike; 0 where there is only one."""
    best = sorted(scores, reverse=True)[:2]
    return 0.0 if len(best) < 2 or best[0] <= 0 else float(best[1] / best[0])


def open_choice(notes: Iterable[str]) -> bool:
    """A track's notes say that it was not clear who the athlete is: what is measured may be somebody else's."""
    return any(note.startswith(OPEN_CHOICE) for note in notes)


def settled_notes(notes: Iterable[str]) -> tuple[str, ...]:
    """A track's notes without that one, once it is clear."""
    return tuple(note for note in notes if not open_choice([note]))
