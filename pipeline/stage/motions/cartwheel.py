"""Cartwheel: stand, step into a lunge, hand, hand, legs apart overhead, foot, foot, stand sideways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.contact import SINK, settle, subset
from pipeline.stage.motions.movement import Movement, Span, alive, mirrored, mirrored_pins, reach_lengths
from pipeline.stage.pose import Pin, Pose, palm_depth, place_bones
from pipeline.stage.rotations import rx, ry, rz
from pipeline.stage.timing import RATE, clock, curve, ramp
from pipeline.vocabulary import Side, Skill


@dataclass(frozen=True)
class CartwheelStyle:
    """How it is done; left leads. Knee flexion in degrees at the middle of the inverted part."""

    lead: Side = Side.LEFT
    bend_first: float = 4.0  # knee flexion of the trailing (second) leg, the one that pushes off: the lead side's
    bend_second: float = 4.0  # of the leg that is kicked up first
    turnout: float = 20.0  # turns the knees outwards: 0 bends them out of the picture plane, 80 in it
    apart: float = 52.0  # abduction of each leg at the top
    pike: float = 0.0  # hips short of straight at the top, degrees
    before: float = 0.7
    after: float = 0.8
    pace: float = 1.0


def cartwheel(body: Body, style: CartwheelStyle, rng: np.random.Generator) -> Movement:
    at = lambda s: style.before + s * style.pace  # noqa: E731
    t = clock(at(3.9) + style.after)
    n = len(t)
    k = lambda *rows: curve(t, [(at(s), v) for s, v in rows])  # noqa: E731
    pose = Pose.standing(n)
    q = pose.limbs
    tip = k(
        (0.5, 0),
        (1.05, 12),
        (1.35, 52),
        (1.62, 98),
        (1.85, 142),
        (2.05, 180),
        (2.25, 218),
        (2.5, 264),
        (2.75, 318),
        (3.05, 352),
        (3.25, 360),
    )
    yaw = k((1.0, 90), (1.35, 70), (1.62, 30), (1.85, 5), (2.05, 0))
    pose.root = ry(tip) @ rz(yaw) @ rx(k((1.5, 0), (2.05, -style.pike), (2.5, 0)))
    pose.spine_side = k((1.35, 0), (1.62, 8), (1.8, 16), (2.05, 0), (2.3, -16), (2.5, -8), (2.8, 0))
    pose.neck = k((0.5, 0), (1.35, -25), (2.05, -30), (2.8, 0))
    top = style.apart
    lead, kick = "L", "R"
    q[f"hip.{lead}"] = k((0.5, 0), (0.8, 48), (1.05, 46), (1.35, 78), (1.62, 40), (1.85, 6), (2.05, style.pike), (2.4, 0))
    q[f"knee.{lead}"] = k(
        (0.5, 0), (0.8, 50), (1.05, 34), (1.35, 34), (1.62, 8), (1.85, style.bend_first), (2.35, style.bend_first), (2.7, 4), (2.95, 4)
    )
    q[f"abduct.{lead}"] = k(
        (0.5, 0), (1.05, 0), (1.35, 12), (1.62, 58), (1.85, 58), (2.05, top), (2.25, top + 6), (2.5, 62), (2.75, 38), (3.0, 14), (3.3, 2)
    )
    q[f"hip.{kick}"] = k((0.5, 0), (1.05, -16), (1.35, -22), (1.62, -6), (1.85, 0), (2.05, style.pike), (2.4, 0))
    q[f"knee.{kick}"] = k(
        (0.5, 0), (1.05, 6), (1.35, 4), (1.62, style.bend_second), (2.2, style.bend_second), (2.45, 6), (2.75, 22), (3.0, 10), (3.3, 0)
    )
    q[f"abduct.{kick}"] = k(
        (0.5, 0), (1.05, 2), (1.35, 14), (1.62, 40), (1.85, top), (2.05, top), (2.25, 64), (2.5, 80), (2.75, 48), (3.0, 14), (3.3, 2)
    )
    for side in "LR":
        q[f"turnout.{side}"] = k((1.0, 6), (1.6, style.turnout), (2.5, style.turnout), (2.9, 6))
        q[f"point.{side}"] = k((1.35, 0), (1.7, 40), (2.3, 40), (2.5, 5), (2.8, 0))
        q[f"arm.{side}"] = k((0.0, 6), (0.45, 175), (3.3, 175), (3.85, 6))
        q[f"spread.{side}"] = k((0.0, 9), (0.45, 10), (1.5, 16), (2.5, 16), (3.0, 18), (3.3, 10), (3.85, 9))
        q[f"arm_twist.{side}"] = k((0.0, 0), (0.45, 90), (3.3, 90), (3.85, 0))
        q[f"wrist.{side}"] = k((1.3, 0), (1.6, 70), (2.4, 70), (2.65, 0))
        q[f"elbow.{side}"] = k((0.0, 12), (0.45, 4), (3.3, 4), (3.85, 12))
    level = lambda side: np.clip(q[f"hip.{side}"] - tip - q[f"knee.{side}"], -38, 45)  # noqa: E731
    early = 1 - ramp(t, at(1.35), at(1.6))
    q["point.L"] = q["point.L"] * (1 - early) + early * level("L")
    pose = alive(pose, t, rng)
    placed = place_bones(body, pose)
    thumbs = body.owned("finger1")
    pose.place = pose.place + settle(body, placed, 1 / RATE, ignore=thumbs)
    pins: tuple[Pin, ...] = _plant_hands(body, pose, t)
    pose.place[:, 2] -= _too_high(body, pose, pins)
    if style.lead is Side.RIGHT:
        pose, pins = mirrored(pose), mirrored_pins(pins)
    span = Span(Skill.CARTWHEEL, at(0.5), at(3.25), style.lead)
    return Movement(t, place_bones(body, pose, pins), (span,))


def _too_high(body: Body, pose: Pose, pins: tuple[Pin, ...]) -> np.ndarray:
    """(n,) metres by which the shoulders are out of the planted hands' reach, smoothed over time."""
    from scipy.ndimage import gaussian_filter1d

    free = place_bones(body, pose)
    reach = 0.997 * reach_lengths(body)["arm"]
    drop = np.zeros(len(pose))
    for pin in pins:
        shoulder = free.joint(body, f"upperarm01.{pin.limb[-1]}")
        aside = np.linalg.norm((shoulder - pin.target)[:, :2], axis=1)
        top = pin.target[:, 2] + np.sqrt(np.clip(reach**2 - aside**2, 0, None))
        drop = np.maximum(drop, pin.weight * np.clip(shoulder[:, 2] - top, 0, 0.12))
    feet = np.flatnonzero(body.owned("foot", "toe"))[::2]
    room = np.clip(subset(body, free, feet)[:, :, 2].min(axis=1) + SINK, 0, None)  # but no foot is pressed into the mat
    return gaussian_filter1d(np.minimum(drop, room), 0.02 * RATE, mode="nearest")


def _plant_hands(body: Body, pose: Pose, t: np.ndarray) -> tuple[Pin, ...]:
    """Pins that keep each hand flat where it is lowest, while it is near the floor."""
    free = place_bones(body, pose)
    pins = []
    n = len(t)
    for side, sign in (("L", 1), ("R", -1)):
        wrist = free.joint(body, f"wrist.{side}")
        low = int(wrist[:, 2].argmin())
        near = wrist[:, 2] < wrist[low, 2] + 0.07
        start, end = low, low
        while start > 0 and near[start - 1]:
            start -= 1
        while end < n - 1 and near[end + 1]:
            end += 1
        spot = np.array([wrist[start : end + 1, 0].mean(), wrist[start : end + 1, 1].mean(), palm_depth(body) - SINK])
        weight = ramp(t, t[start] - 0.08, t[start] + 0.02) * (1 - ramp(t, t[end] - 0.02, t[end] + 0.1))
        ones = np.ones((n, 1))
        pins.append(
            Pin(
                f"hand.{side}",
                ones * spot,
                weight,
                ones * np.array([0.0, 0.3, 0.0]) + ones * np.array([-sign * 0.2, 0, 0.0]),
                ones * np.array([0.25, 0.97, 0.0]),
                ones * np.array([0.0, 0.0, 1.0]),
            )
        )
    return tuple(pins)
