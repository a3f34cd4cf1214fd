"""Cartwheel: stand, step into a lunge, hand, hand, legs apart overhead, foot, foot, stand sideways."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.contact import SINK, settle, subset
from pipeline.stage.motions.chained import cut
from pipeline.stage.motions.movement import Movement, Span, alive, mirrored, mirrored_pins, mirrored_turn, reach_lengths
from pipeline.stage.motions.steps import Step, quarter_turn, stepped, walked
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
    together: float = 0.0  # 0 the hands come down in turn, 1 nearly at once
    hands_aside: float = 0.0  # degrees the second hand is off the line of travel, positive towards the back of the body
    hand_in: float = 0.0  # degrees the second hand's fingers are turned back towards the first
    look: float = 1.0  # 1 the head is tipped back to see the hands, 0 in line, below 0 the chin is tucked
    toes: float = 40.0  # 40 pointed, 0 square, below 0 flexed
    straddle: float = 1.0  # 1 the legs are wide apart, 0.5 half as wide
    land_wide: float = 0.0  # 0 the second foot comes down beside the first, 1 far from it, then a step closes the feet
    finish: str = "still"  # "still", "steps" further on, "back": falls back the way it came
    extra: int = 0  # steps too many
    turn: float = 0.0  # degrees turned on the feet afterwards, to the lead side positive: 90 looks along the travel
    goes_on: bool = False  # starts from a lunge: no stand, no arms' lift


def cartwheel(body: Body, style: CartwheelStyle, rng: np.random.Generator) -> Movement:
    """From standing sideways over the hands to standing, poses on an even clock, with the hands and feet pinned where they stand."""
    at = lambda s: style.before + s * style.pace  # noqa: E731
    plan = _finish(body, style, at(3.3))
    still = max((step.at + step.seconds for step in plan), default=at(3.25))
    turning = quarter_turn("R" if style.turn < 0 else "L", still + 0.15, style.turn) if style.turn else ()
    end = max((step.at + step.seconds for step in turning), default=still)
    wait = max(0.0, (end - at(3.3)) / style.pace)  # the arms stay up through the steps
    t = clock(at(3.9 + wait) + style.after)
    n = len(t)
    stay = ((3.3 + wait, 10.0),) if wait else ()
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
    pose.neck = k((0.5, 0), (1.35, -25 * style.look), (2.05, -30 * style.look), (2.8, 0))
    wide = lambda angle: min(style.straddle * angle, 86.0)  # noqa: E731
    top = wide(style.apart)
    land = 16 * style.land_wide
    lead, kick = "L", "R"
    q[f"hip.{lead}"] = k((0.5, 0), (0.8, 48), (1.05, 46), (1.35, 78), (1.62, 40), (1.85, 6), (2.05, style.pike), (2.4, 0))
    q[f"knee.{lead}"] = k(
        (0.5, 0), (0.8, 50), (1.05, 34), (1.35, 34), (1.62, 8), (1.85, style.bend_first), (2.35, style.bend_first), (2.7, 4), (2.95, 4)
    )
    q[f"abduct.{lead}"] = k(
        (0.5, 0),
        (1.05, 0),
        (1.35, 12),
        (1.62, wide(58)),
        (1.85, wide(58)),
        (2.05, top),
        (2.25, wide(style.apart + 6)),
        (2.5, wide(62)),
        (2.75, 38),
        (3.0, 14 + land),
        (3.3, 2 + land),
    )
    q[f"hip.{kick}"] = k((0.5, 0), (1.05, -16), (1.35, -22), (1.62, -6), (1.85, 0), (2.05, style.pike), (2.4, 0))
    q[f"knee.{kick}"] = k(
        (0.5, 0), (1.05, 6), (1.35, 4), (1.62, style.bend_second), (2.2, style.bend_second), (2.45, 6), (2.75, 22), (3.0, 10), (3.3, 0)
    )
    q[f"abduct.{kick}"] = k(
        (0.5, 0),
        (1.05, 2),
        (1.35, 14),
        (1.62, wide(40)),
        (1.85, top),
        (2.05, top),
        (2.25, wide(64)),
        (2.5, wide(80)),
        (2.75, 48),
        (3.0, 14 + land),
        (3.3, 2 + land),
    )
    for side in "LR":
        q[f"turnout.{side}"] = k((1.0, 6), (1.6, style.turnout), (2.5, style.turnout), (2.9, 6))
        q[f"point.{side}"] = k((1.35, 0), (1.7, style.toes), (2.3, style.toes), (2.5, 5), (2.8, 0))
        q[f"arm.{side}"] = k((0.0, 6), (0.45, 175), (3.3 + wait, 175), (3.85 + wait, 6))
        q[f"spread.{side}"] = k((0.0, 9), (0.45, 10), (1.5, 16), (2.5, 16), (3.0, 18), (3.3, 10), *stay, (3.85 + wait, 9))
        q[f"arm_twist.{side}"] = k((0.0, 0), (0.45, 90), (3.3 + wait, 90), (3.85 + wait, 0))
        q[f"wrist.{side}"] = k((1.3, 0), (1.6, 70), (2.4, 70), (2.65, 0))
        q[f"elbow.{side}"] = k((0.0, 12), (0.45, 4), (3.3 + wait, 4), (3.85 + wait, 12))
    level = lambda side: np.clip(q[f"hip.{side}"] - tip - q[f"knee.{side}"], -38, 45)  # noqa: E731
    early = 1 - ramp(t, at(1.35), at(1.6))
    q["point.L"] = q["point.L"] * (1 - early) + early * level("L")
    pose = alive(pose, t, rng)
    placed = place_bones(body, pose)
    thumbs = body.owned("finger1")
    pose.place = pose.place + settle(body, placed, 1 / RATE, ignore=thumbs)
    pins: tuple[Pin, ...] = _plant_hands(body, pose, t, style)
    pose.place[:, 2] -= _too_high(body, pose, pins)
    if plan:
        pins = stepped(body, pose, t, plan, at(3.27), pins)
    if turning:
        pins = stepped(body, pose, t, turning, still + 0.1, pins)
    if style.lead is Side.RIGHT:
        pose, pins = mirrored(pose), mirrored_pins(pins)
    span = Span(Skill.CARTWHEEL, at(0.5), still, style.lead)
    done = Movement(t, place_bones(body, pose, pins), (span,), mirrored_turn(-90 + style.turn, style.lead))
    return cut(done, at(0.95)) if style.goes_on else done


def _finish(body: Body, style: CartwheelStyle, start: float) -> tuple[Step, ...]:
    """Steps after the second foot (the left) is down: one that closes wide feet, then those too many."""
    leg = reach_lengths(body)["leg"]
    plan: list[Step] = []
    gap = 0.0
    if style.land_wide > 0.3:
        gap = -2 * leg * float(np.sin(np.radians(16 * style.land_wide)))
        plan.append(Step("L", start, 0.32, (gap, 0.0)))
        start += 0.38
    feet = (("RL" if style.finish == "back" else "LR") * style.extra)[: style.extra]
    more = walked(feet, start, ((-0.32 if style.finish == "back" else 0.3) * leg, 0.0))
    plan += [replace(s, to=(s.to[0] + (gap if s.foot == "L" else 0.0), s.to[1])) for s in more]
    return tuple(plan)


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


def _plant_hands(body: Body, pose: Pose, t: np.ndarray, style: CartwheelStyle) -> tuple[Pin, ...]:
    """Pins that keep each hand flat where it is lowest, while it is near the floor; the right hand is the second."""
    free = place_bones(body, pose)
    pins: list[Pin] = []
    starts: list[int] = []
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
        starts.append(start)
        spot = np.array([wrist[start : end + 1, 0].mean(), wrist[start : end + 1, 1].mean(), palm_depth(body) - SINK])
        spot[1] -= sign * 0.5 * np.tan(np.radians(style.hands_aside)) * 0.42 * body.height
        fingers = np.array([0.25, 0.97, 0.0]) if side == "L" or not style.hand_in else rz(style.hand_in) @ np.array([0.25, 0.97, 0.0])
        weight = ramp(t, t[start] - 0.08, t[start] + 0.02) * (1 - ramp(t, t[end] - 0.02, t[end] + 0.1))
        ones = np.ones((n, 1))
        pins.append(
            Pin(
                f"hand.{side}",
                ones * spot,
                weight,
                ones * np.array([0.0, 0.3, 0.0]) + ones * np.array([-sign * 0.2, 0, 0.0]),
                ones * fingers,
                ones * np.array([0.0, 0.0, 1.0]),
            )
        )
    if style.together:  # the first hand waits, a little above the floor, for the second
        touch, other = t[starts[0]], t[starts[1]] + 0.03
        wait = touch + style.together * (other - touch)
        target = pins[0].target.copy()
        target[:, 2] += 0.08 * (1 - ramp(t, wait - 0.12, wait))
        pins[0] = replace(pins[0], target=target)
    return tuple(pins)
