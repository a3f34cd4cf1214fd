"""The Track type: one athlete's landmarks in one clip, checked once, then trusted. Knows no detector and no files."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

NAMES: tuple[str, ...] = (
    "nose", "left_eye_inner", "left_eye", "left_eye_outer", "right_eye_inner", "right_eye", "right_eye_outer",
    "left_ear", "right_ear", "mouth_left", "mouth_right", "left_shoulder", "right_shoulder", "left_elbow",
    "right_elbow", "left_wrist", "right_wrist", "left_pinky", "right_pinky", "left_index", "right_index",
    "left_thumb", "right_thumb", "left_hip", "right_hip", "left_knee", "right_knee", "left_ankle", "right_ankle",
    "left_heel", "right_heel", "left_foot_index", "right_foot_index",
)  # fmt: skip
INDEX = {name: i for i, name in enumerate(NAMES)}
N = len(NAMES)


@dataclass(frozen=True)
class HoldLook:
    """What a look from near by at one hold tells beyond points, see `holds.Seen`."""

    start: float  # seconds from the clip's first shown frame
    end: float
    features: np.ndarray  # (2, k)
    angles: np.ndarray  # (8,) degrees, see near_angles.ANGLES; NaN where nobody tells, inf where joints are seen elsewhere


@dataclass(frozen=True)
class CartwheelLook:
    """What a look from near by tells of one cartwheel while upside down, see `landmarks/cartwheels.py`."""

    start: float  # seconds from the clip's first shown frame, of the key window
    end: float
    t: np.ndarray  # (k,) seconds of the frames looked at
    knees: np.ndarray  # (k, 2) degrees, left and right; NaN where a joint lies beyond the crop, inf where one is seen elsewhere


@dataclass(frozen=True)
class Track:
    """One athlete in one clip, in display orientation. A frame where the athlete is lost is NaN, never a guess."""

    t: np.ndarray  # (n,) seconds from the clip's first shown frame, strictly increasing
    xy: np.ndarray  # (n, 33, 2) pixels of the full-size picture, y down, a pixel's middle at .5; NaN = not seen
    z: np.ndarray  # (n, 33) depth relative to the middle of the hips, in the same pixels, away from the camera positive; NaN = unknown
    visibility: np.ndarray  # (n, 33) 0..1, the model's own word; NaN where xy is NaN
    presence: np.ndarray  # (n,) 0..1, that a person is in the crop; says nothing about who
    disagreement: np.ndarray  # (n, 33) pixels between two looks at the frame, from either direction; NaN where there was one look
    size: tuple[int, int]  # (width, height) of the full-size picture
    source: str  # the clip's name, for messages
    notes: tuple[str, ...] = ()  # what a reader should know: a doubt about who the athlete is, a clip that breaks off
    others: tuple[Track, ...] = ()  # who else may be the athlete, more active ones first: the same times, nobody beside them
    looks: tuple[HoldLook, ...] = ()  # of each hold that was looked at from near by
    cartwheels: tuple[CartwheelLook, ...] = ()  # of each cartwheel that was looked at from near by

    def __post_init__(self) -> None:
        n = len(self.t)
        for name, shape in (("xy", (n, N, 2)), ("z", (n, N)), ("visibility", (n, N)), ("presence", (n,)), ("disagreement", (n, N))):
            got = np.shape(getattr(self, name))
            if got != shape:
                raise ValueError(f"{self.source}: track.{name} should have shape {shape}, but has {got}.")
        if n > 1 and not np.all(np.diff(self.t) > 0):
            raise ValueError(f"{self.source}: frame times must increase.")
        if any(len(one.t) != n or one.others for one in self.others):
            raise ValueError(f"{self.source}: others must have the track's own times, and no others of their own.")

    def __len__(self) -> int:
        return len(self.t)

    def __getitem__(self, name: str) -> np.ndarray:
        """(n, 2) pixels of one landmark by its name."""
        if name not in INDEX:
            raise ValueError(f"{self.source}: no landmark {name!r}; it has {', '.join(NAMES)}.")
        return self.xy[:, INDEX[name]]

    @property
    def seen(self) -> np.ndarray:
        """(n,) bool: the athlete was followed in this frame."""
        return np.isfinite(self.xy[:, INDEX["left_hip"], 0])
