"""A closer look at held poses: a larger network at a few frames of each hold, and one that looks from nearer by.

A hold is read as a median over many frames, so jitter hardly counts there and what the networks that follow are steadily off does.
Another network errs otherwise: the heavy one of the family, tuned on the same drawn and real people, is 13.8 M weights instead of 3.2 M,
far too slow for every frame, but FRAMES a hold, either way, cost half a second. What it sees is told in the trunk's own frame, so that it holds
however the athlete and the phone sway, and every joint of the hold moves SHARE of the way. On the holds of 540 drawn clips of 55 bodies
flat hips are read 2.2 degrees off instead of 2.4 so (both put right at poses), folds 2.9 instead of 3.3, a lunge's shoulder 2.8 instead of
3.1, nothing worse; on real upright people 71 to 72 % of joints lie within a fifth of the trunk instead of 69 %. Knees in tucks and
cartwheels it sees no better (models/CARD_CLOSER.md). What it makes of a hold beyond its points goes along: it tells a part of what angles
miss where clothes hide the joint (measures/learnt.py).

In the crop that holds a whole body with its arms out a trunk is some 40 pixels long, and a degree at the hip a third of a pixel. So the middle
frames are looked at from nearer by as well (near.py); a joint seen there goes NEAR_SHARE of the way on from where the closer look has it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipeline.clips.video import moments_at
from pipeline.landmarks.crops import cut
from pipeline.landmarks.near import WAYS, Near, mean_look, seen_near
from pipeline.landmarks.near_angles import COUNT, middle_angles
from pipeline.landmarks.net import FEATURES, LandmarkNet
from pipeline.landmarks.paths import CORE, axes, limbs_apart, torso
from pipeline.landmarks.refine import SAME_BODY, SAME_POINT, aligned_crop
from pipeline.landmarks.sides import as_named
from pipeline.landmarks.sight import recognised
from pipeline.landmarks.track import HoldLook, N, Track

FRAMES = 4  # looked at in a hold, each plain and mirrored
LEAST_FRAMES = 2  # in which a point must be seen for it to move; one, where the hold has no more
SHARE = 0.5  # of the way from where a point is held to where the larger network sees it
NEAR_SHARE = 0.5  # of the way from there to where it is seen from near by
EASE_S = 0.3  # before and after a hold, over which points move gradually: nothing jumps
SAME_MOMENT_S = 1e-3

Window = tuple[float, float]  # seconds from the clip's first shown frame: start and end of a hold


@dataclass(frozen=True)
class Seen:
    """What a closer look saw in one hold."""

    beside: np.ndarray  # (33, 2) how far beside the track each point is seen: along the trunk's own axes (see `axes`), in trunks
    features: np.ndarray  # (2, FEATURES) what the larger network made of it beyond its points: mean of plain looks, of mirrored ones
    near: np.ndarray  # (33, 2) the same as `beside`, seen from near by; NaN for a point that is not looked at so, or was not seen
    angles: np.ndarray  # (COUNT,) degrees told from near by, see near_angles; NaN where none are, inf where joints are seen elsewhere

    @property
    def by(self) -> np.ndarray:
        """(33, 2) how far each point of the hold moves, along the trunk's axes, in trunks."""
        by = SHARE * self.beside
        return np.where(np.isfinite(self.near), by + NEAR_SHARE * (self.near - by), by)


def looked_at(track: Track, window: Window) -> np.ndarray:
    """Rows of the track, FRAMES at most, spread over a hold; only frames in which the whole athlete is followed."""
    inside = (track.t >= window[0] - 1e-9) & (track.t <= window[1] + 1e-9)
    rows = np.flatnonzero(inside & np.isfinite(track.xy).all(axis=(1, 2)))
    return np.unique(rows[((np.arange(FRAMES) + 0.5) / FRAMES * len(rows)).astype(int)]) if len(rows) else rows


def look_closer(net: LandmarkNet, near: Near | None, path: Path, track: Track, window: Window, *, longest_side: int) -> Seen | None:
    """What the networks see in a hold; 0 beside the track for a point that was not seen surely, NaN features where no look of that kind showed
    her. None where no frame of the hold could be looked at. near: looks from near by, where there is one; longest_side: of the pictures worked
    on, in pixels."""
    rows = looked_at(track, window)
    seen, nearer, told = [], [], []
    features: tuple[list[np.ndarray], list[np.ndarray]] = ([], [])
    for number, image, body in bodies_at(path, track, rows, longest_side):
        seen.append(_seen_beside(net, image, body, features))
        if near and number in middle_half(len(rows)):
            points, angles = seen_near(near, image, body)
            nearer.append(points)
            told.append(angles)
    if not seen:
        return None
    each = np.array(seen)
    sure = np.isfinite(each[..., 0]).sum(axis=0) >= min(LEAST_FRAMES, len(each))
    return Seen(
        np.where(sure[:, None], np.nan_to_num(_middle(each)), 0.0),
        np.stack([np.mean(looks, axis=0) if looks else np.full(FEATURES, np.nan) for looks in features]),
        _middle(np.array(nearer)) if nearer else np.full((N, 2), np.nan),
        middle_angles(np.array(told)) if told else np.full(COUNT, np.nan),
    )


def bodies_at(path: Path, track: Track, rows: np.ndarray, longest_side: int) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
    """For rows of the track that the file has a picture of: its number among them, the RGB picture, its longest side at most so many pixels, and the
    body as it is followed there (33, 2; pixels of that picture)."""
    for number, moment in moments_at(path, [float(t) for t in track.t[rows]]):
        if abs(moment.t - track.t[rows[number]]) <= SAME_MOMENT_S:
            frame = moment.frame(longest_side)
            yield number, frame.image, track.xy[rows[number]] * frame.scale - 0.5


def middle_half(count: int) -> range:
    """Which of so many frames are looked at from near by too: in all of them the same is seen, at twice the cost."""
    return range(count // FRAMES, count - count // FRAMES)


def _middle(each: np.ndarray) -> np.ndarray:
    """(33, 2) the median over frames (n, 33, 2) in which a point was seen; NaN where it was in none."""
    known = np.isfinite(each).any(axis=0)
    return np.where(known, np.nanmedian(np.where(known, each, 0.0), axis=0), np.nan)


def _seen_beside(net: LandmarkNet, image: np.ndarray, body: np.ndarray, features: tuple[list[np.ndarray], list[np.ndarray]]) -> np.ndarray:
    """(33, 2) where the network sees each point beside where it is held (33, 2; pixels of the picture), the mean of a plain and a mirrored
    look; NaN where neither shows this body, or has the point on another limb. Its features are added to `features`, either way apart."""
    crop, size = aligned_crop(body), float(torso(body))
    if not (crop.side > 0 and size > 0):
        return np.full((N, 2), np.nan)
    pixels, looks = cut(image, crop), []
    for mirrored in WAYS:
        guess = net.read(pixels, crop, mirrored=mirrored)
        if recognised(guess) and limbs_apart(guess.xy, body, max(size, 1.0)) < SAME_BODY:
            beside = guess.xy[as_named(body, guess.xy, size)] - body
            looks.append(np.where((np.linalg.norm(beside, axis=1) < SAME_POINT * size)[:, None], beside, np.nan))
            more = net.features()
            if more is not None:
                features[mirrored].append(more)
    if not looks:
        return np.full((N, 2), np.nan)
    return mean_look(looks) @ axes(body[None])[0].T / size


def moved(track: Track, holds: Sequence[tuple[Window, Seen]]) -> Track:
    """The track with the points of each hold moved to where they were seen (`Seen.by`), and gradually so EASE_S before and after it; with the
    networks' word there."""
    if not holds:
        return track
    weights = np.array([eased(track.t, window) for window, _ in holds])  # (k, n)
    weights = weights / np.maximum(weights.sum(axis=0), 1.0)  # two holds close to each other share what lies between
    rows = np.flatnonzero((weights > 0).any(axis=0) & np.isfinite(track.xy[:, CORE]).all(axis=(1, 2)))
    by = np.einsum("kn,kpa->npa", weights[:, rows], np.array([seen.by for _, seen in holds]))  # in trunks, along the trunk's axes
    xy = track.xy.copy()
    xy[rows] += np.einsum("naj,npa->npj", axes(xy[rows]), by) * torso(xy[rows])[:, None, None]
    return replace(track, xy=xy, looks=tuple(HoldLook(start, end, seen.features, seen.angles) for (start, end), seen in holds))


def eased(t: np.ndarray, window: Window) -> np.ndarray:
    """(n,) 1 within a hold, falling to 0 over EASE_S on either side."""
    return np.clip(1 - np.maximum(window[0] - t, t - window[1]) / EASE_S, 0.0, 1.0)
