"""Other people: standing, kneeling, a spotter reaching out, children walking past."""

from __future__ import annotations

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.motions.movement import Movement, alive
from pipeline.stage.motions.rolling import Key, on_the_floor, pose_from
from pipeline.stage.pose import place_bones
from pipeline.stage.timing import clock, wander

KINDS = ("stand", "hips", "kneel", "spot", "walk", "squat", "arms up")


def bystander(body: Body, kind: str, seconds: float, rng: np.random.Generator) -> Movement:
    """Someone who is not the athlete, facing +x; only `walk` leaves its place (along +x)."""
    t = clock(seconds)
    n = len(t)
    still = {
        "stand": Key(0, 0, 0, 0, 0, 4, 6, 12, 1),
        "walk": Key(0, 3, 0, 0, 0, 2, 4, 14, 0, 0),
        "hips": Key(0, 0, 0, 0, 0, 4, -18, 88, 1, spread=38),
        "kneel": Key(0, 4, 2, -88, 4, 4, 25, 30, 0, 50),
        "spot": Key(0, 22, 12, -14, 16, 12, 62, 28, 1, apart=9, spread=14),
        "squat": Key(0, 30, 100, -34, 40, -10, 70, 30, 1, apart=9),
        "arms up": Key(0, 0, 0, 0, 0, 0, 172, 6, 1),
    }[kind]
    pose = alive(pose_from(t, [still]), t, rng)
    if kind == "hips":
        for side in "LR":
            pose.limbs[f"arm_twist.{side}"] = np.full(n, 62.0)
    if kind == "spot":
        for side in "LR":
            pose.limbs[f"arm.{side}"] = pose.limbs[f"arm.{side}"] + wander(t, rng, 7, 1.6)
    if kind == "walk":
        pace = rng.uniform(0.85, 1.05)
        for side, lag in (("L", 0.0), ("R", 0.5)):
            phase = 2 * np.pi * (t * pace + lag)
            swing, lifted = np.sin(phase), np.clip(np.cos(phase), 0, None) ** 2  # the leg that comes forward is lifted off the floor
            pose.limbs[f"hip.{side}"] = 3 + 23 * swing + 8 * lifted
            pose.limbs[f"knee.{side}"] = 3 + 52 * np.clip(np.cos(phase + 0.35), 0, None) ** 2
            pose.limbs[f"arm.{side}"] = -20 * swing
            pose.limbs[f"point.{side}"] = -6 * lifted + 8 * np.clip(-np.sin(phase - 0.4), 0, None)
    pose.limbs["abduct.L"] = pose.limbs["abduct.L"] + rng.uniform(0, 4)
    pose = on_the_floor(body, pose)
    return Movement(t, place_bones(body, pose))
