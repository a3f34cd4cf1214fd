"""What the backward roll and the shoulder stand share: standing, squatting, sitting and rolling back, by key poses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.stage.bodies import SIDES, Body
from pipeline.stage.contact import settle
from pipeline.stage.motions.movement import upright
from pipeline.stage.pose import Pin, Pose, place_bones
from pipeline.stage.timing import RATE, curve, ramp


@dataclass(frozen=True)
class Key:
    """A pose in the side plane, degrees. thigh and shank are world directions: 0 hangs down, 90 points ahead (+x), 180 up."""

    at: float  # seconds
    lean: float  # of the pelvis, forward positive; rolling back runs to -360
    thigh: float
    shank: float
    spine: float
    neck: float
    arm: float
    elbow: float
    flat: float  # 1 the sole is level, 0 the ankle is as `point` says
    point: float = 10.0
    apart: float = 3.0  # thighs' abduction
    spread: float = 8.0

    @property
    def knee(self) -> float:
        return self.thigh - self.shank


def pose_from(t: np.ndarray, keys: Sequence[Key]) -> Pose:
    """Smooth pose through the keys, both sides alike."""
    c = lambda name: curve(t, [(k.at, getattr(k, name)) for k in keys])  # noqa: E731
    pose = Pose.standing(len(t))
    lean, thigh, knee = c("lean"), c("thigh"), c("knee")
    pose.root = upright(lean)
    pose.spine, pose.neck = c("spine"), c("neck")
    flat, point = c("flat"), c("point")
    hip = thigh + lean
    # the knee and hip are interpolated as angles, so the sole's level follows from them exactly
    level = np.mod(hip - lean - knee + 180, 360) - 180
    for side in "LR":
        pose.limbs[f"hip.{side}"] = hip
        pose.limbs[f"knee.{side}"] = knee
        pose.limbs[f"point.{side}"] = np.clip(flat * level + (1 - flat) * point, -38, 60)
        pose.limbs[f"abduct.{side}"] = c("apart")
        pose.limbs[f"arm.{side}"] = c("arm")
        pose.limbs[f"elbow.{side}"] = c("elbow")
        pose.limbs[f"spread.{side}"] = c("spread")
        pose.limbs[f"turnout.{side}"] = np.full(len(t), 6.0)
    return pose


def on_the_floor(body: Body, pose: Pose) -> Pose:
    """The pose with its place set so that it stands, sits or rolls on the floor without sliding."""
    placed = place_bones(body, pose)
    arms = body.owned("upperarm", "lowerarm", "wrist", "finger", "metacarpal")
    pose.place = pose.place + settle(body, placed, 1 / RATE, ignore=arms)
    return pose


def planted_feet(body: Body, pose: Pose, t: np.ndarray, stretches: Sequence[tuple[float, float]], fade: float = 0.25) -> tuple[Pin, ...]:
    """Pins that keep the feet on one spot in each stretch of time, so that a squat does not let them creep."""
    free = place_bones(body, pose)
    pins = []
    for side in SIDES:
        ankle = free.joint(body, f"foot.{side}")
        target, weight = ankle.copy(), np.zeros(len(t))
        for start, end in stretches:
            inside = (t >= start) & (t <= end)
            near = (t >= start - fade - 0.05) & (t <= end + fade + 0.05)
            at_rest = inside & (np.abs(t - (end if end >= t[-1] else start)) < 0.5)
            target[near, :2] = np.median(ankle[at_rest], axis=0)[:2]
            w = np.where(t < start, ramp(t, start - fade, start), np.where(t > end, 1 - ramp(t, end, end + fade), 1.0))
            weight = np.maximum(weight, w)
        pins.append(Pin(f"foot.{side}", target, weight))
    return tuple(pins)
