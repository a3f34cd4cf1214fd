"""Steps taken on the spot at the end of a skill: closing the feet, a step too many, falling back, turning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.stage.bodies import SIDES, Body
from pipeline.stage.contact import SINK
from pipeline.stage.motions.movement import reach_lengths
from pipeline.stage.pose import Pin, Pose, place_bones
from pipeline.stage.rotations import rz
from pipeline.stage.timing import RATE, ramp

HEIGHT = 0.05  # metres a stepping foot is lifted


@dataclass(frozen=True)
class Step:
    """One foot lifted and put down: `to` metres along x and y from where it stood before any step, turned by `yaw` degrees in all."""

    foot: str  # "L" or "R"
    at: float  # seconds
    seconds: float
    to: tuple[float, float]
    yaw: float = 0.0


def walked(feet: str, at: float, stride: tuple[float, float], *, seconds: float = 0.3, pause: float = 0.06) -> tuple[Step, ...]:
    """Steps with these feet in turn ("LR" is two), each a stride further than the other foot; the last one closes if feet are even."""
    out, far = [], 0
    for k, foot in enumerate(feet):
        far = far + 1 if k % 2 == 0 else far  # the second foot comes beside the first
        out.append(Step(foot, at + k * (seconds + pause), seconds, (far * stride[0], far * stride[1])))
    return tuple(out)


def quarter_turn(first: str, at: float, yaw: float, *, seconds: float = 0.32) -> tuple[Step, ...]:
    """Two steps that turn the body by yaw degrees about the middle of its feet."""
    second = "R" if first == "L" else "L"
    return Step(first, at, seconds, (0, 0), yaw), Step(second, at + 1.1 * seconds, seconds, (0, 0), yaw)


def stepped(body: Body, pose: Pose, t: np.ndarray, steps: Sequence[Step], since: float, pins: tuple[Pin, ...] = ()) -> tuple[Pin, ...]:
    """The pins with both feet kept where the steps put them from `since` on; the pose's root and place are changed to go with them.

    since : seconds, both feet are on the floor and stay until the first step.
    """
    from scipy.ndimage import gaussian_filter1d

    moment = int(np.argmin(np.abs(t - since)))
    free = place_bones(body, pose, pins)
    old = {p.limb: p for p in pins}
    base = {s: free.joint(body, f"foot.{s}")[moment] for s in SIDES}
    for s in SIDES:
        base[s][2] = reach_lengths(body)["ankle"] - SINK
    pivot = 0.5 * (base["L"] + base["R"]) * np.array([1, 1, 0])
    moved, yaw = {}, {}
    for s in SIDES:
        shift, turn, lift = np.zeros((len(t), 3)), np.zeros(len(t)), np.zeros(len(t))
        before, faced = np.zeros(2), 0.0
        for step in sorted((step for step in steps if step.foot == s), key=lambda step: step.at):
            go = ramp(t, step.at, step.at + step.seconds)
            shift[:, :2] += go[:, None] * (np.array(step.to) - before)
            turn += go * (step.yaw - faced)
            lift += HEIGHT * 4 * go * (1 - go)
            before, faced = np.array(step.to, float), step.yaw
        shift[:, 2] = lift
        moved[s], yaw[s] = pivot + (base[s] - pivot) @ np.swapaxes(rz(turn), -1, -2) + shift, turn
    smooth = lambda v: gaussian_filter1d(v, 0.07 * RATE, axis=0, mode="nearest")  # noqa: E731
    middle = smooth(0.5 * (moved["L"] + moved["R"]) - pivot) * np.array([1, 1, 0])
    facing = smooth(0.5 * (yaw["L"] + yaw["R"]))
    turned = rz(facing)
    pose.root = turned @ pose.root
    pose.place = pivot + np.einsum("nij,nj->ni", turned, pose.place - pivot) + middle
    _lower_to_reach(body, pose, moved, t, since)
    out = [p for p in pins if not p.limb.startswith("foot")]
    up = np.tile([0.0, 0.0, 1.0], (len(t), 1))
    stood = ramp(t, since - 0.15, since)
    for s in SIDES:
        bone = body.bone[f"foot.{s}"]
        toe = body.vertices[body.points[f"toe.{s}"]] - body.heads[bone]
        ahead = (free.turn[moment, bone] @ toe) * np.array([1, 1, 0])
        ahead = np.tile(ahead, (len(t), 1)) if not np.any(yaw[s]) else ahead @ np.swapaxes(rz(yaw[s]), -1, -2)
        was = old.get(f"foot.{s}")
        weight = stood if was is None else np.where(t < since - 0.2, was.weight, np.maximum(was.weight, stood))
        target = moved[s] if was is None else np.where((t < since)[:, None], was.target, moved[s])
        out.append(Pin(f"foot.{s}", target, weight, None, ahead, up))
    return tuple(out)


def _lower_to_reach(body: Body, pose: Pose, ankles: dict[str, np.ndarray], t: np.ndarray, since: float) -> None:
    """Bring the hips down where a foot stands too far off for a straight leg."""
    from scipy.ndimage import gaussian_filter1d

    size = reach_lengths(body)
    top = np.full(len(t), np.inf)
    for s, sign in (("L", 1), ("R", -1)):
        hip = pose.place + pose.root @ np.array([sign * size["hip"], 0, 0])
        aside = np.linalg.norm((hip - ankles[s])[:, :2], axis=1)
        top = np.minimum(top, ankles[s][:, 2] + np.sqrt(np.clip((0.997 * size["leg"]) ** 2 - aside**2, 0.01, None)))
    drop = np.clip(pose.place[:, 2] - top, 0, 0.2) * ramp(t, since - 0.1, since)
    pose.place[:, 2] -= gaussian_filter1d(drop, 0.04 * RATE, mode="nearest")
