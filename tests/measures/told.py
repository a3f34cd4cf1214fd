"""Stick athletes whose moments are told, and what is read of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.landmarks.track import Track
from pipeline.measures.look import DEPTH_SHARE
from pipeline.measures.measure import measure_attempt
from pipeline.measures.reading import Reading
from pipeline.measures.uncertainty import Known, error_table
from pipeline.vocabulary import DETAIL, Setting, Side, Skill
from tests.measures.bodies import STAND, Motion
from tests.measures.stick import SHANK, THIGH, Pose, on_floor, skeleton

UNBIASED = {key: replace(known, bias=0.0) for key, known in error_table().items()}
NO_MODEL_ERROR = {key: Known(0.0, 1e-6, 1.96, 0) for key in DETAIL}
LEG = THIGH + SHANK


def stood(seconds: float = 3.0, fps: float = 30.0, pose: Pose = STAND) -> Motion:
    """Somebody who stands still."""
    t = np.arange(0, seconds, 1 / fps)
    return Motion(t, on_floor(np.stack([skeleton(pose)] * len(t))))


def deep(track: Track) -> Track:
    """The track with depth as the landmark model gives it, too deep."""
    return replace(track, z=track.z / DEPTH_SHARE)


def read(
    track: Track, skill: Skill, *, direction: int = 1, lead: Side = Side.LEFT, end_s: float | None = None, **moments: float
) -> dict[str, Reading]:
    """The readings without a side, of an attempt whose moments are told."""
    end = float(track.t[-1]) if end_s is None else end_s
    key = moments.pop("key_start_s", 0.2), moments.pop("key_end_s", end)
    attempt = Attempt(skill, 1, 0.0, end, *key, direction, lead, Setting.ALONE, 1.0, moments=moments)
    readings, _ = measure_attempt(track, attempt, lead_side=lead, table=UNBIASED)
    return {r.detail: r for r in readings if r.side is Side.NONE}
