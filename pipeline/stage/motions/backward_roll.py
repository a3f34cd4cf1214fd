"""Backward roll: stand, squat, sit, roll back tucked with the hands by the ears, feet overhead, push, squat, stand."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.contact import SINK
from pipeline.stage.motions.movement import Movement, Span, alive, mirrored, mirrored_pins, reach_lengths
from pipeline.stage.motions.rolling import Key, on_the_floor, planted_feet, pose_from
from pipeline.stage.motions.steps import stepped, walked
from pipeline.stage.pose import Pin, palm_depth, place_bones
from pipeline.stage.timing import clock, ramp, window
from pipeline.vocabulary import Side, Skill


@dataclass(frozen=True)
class RollStyle:
    """How it is done."""

    lead: Side = Side.LEFT
    clear: float = 0.6  # 0 lands on the knees, 1 lands with the hips high and the knees well off the floor
    kneel: float = 0.0  # seconds stayed on the knees, where they touch
    tuck: float = 1.0  # 1 tight, 0 loose
    before: float = 0.8
    after: float = 0.9
    pace: float = 1.0
    head_turn: float = 0.0  # degrees the face is turned while the hips are overhead, to the lead side positive
    hand_late: float = 0.0  # seconds the lead side's hand comes down after the other
    sway: float = 0.0  # of the body over the feet when standing, share of the leg's length to either side
    extra: int = 0  # steps backwards that are too many


def roll_keys(style: RollStyle) -> list[Key]:
    """Key poses; times from the start of the squat, seconds at pace 1. Those after the knees' touch wait for it."""
    c, loose, wait = style.clear, 15 * (1 - style.tuck), style.kneel / style.pace
    K = Key
    toes = 45 - 75 * min(1.0, c / 0.4)  # on the knees the feet lie long; otherwise the toes are tucked under
    keys = [
        K(0.00, 0, 0, 0, 0, 0, 6, 12, 1),
        K(0.70, 32, 100, -34, 42, 15, 128, 15, 1),
        K(1.00, -8, 122 - loose, -22, 55, 40, 128, 30, 1),
        K(1.30, -75, 205 - 2 * loose, 55, 62, 62, 140, 115, 0.0, 15),
        K(1.60, -150, 285 - 2 * loose - 28 * c, 160 + 65 * c, 66, 74, 165, 135, 0.0, 20),
        K(1.90, -215 + 5 * c, 350 - 52 * c, 262 + 24 * c, 72, 78, 170, 128, 0.0, 0.5 * toes),
        K(2.20, -262, 372 - 26 * c, 257 + 61 * c, 66, 72, 172, 110, 0.0, toes),
        K(2.50, -305, 396, 256 + 80 * c, 46, 40, 165, 60, 0.2, toes),
        K(2.85 + wait, -334, 464 - 45 * c, 326 + 12 * c, 36, 10, 120, 25, 0.9, -30),
        K(3.55 + wait, -360, 360, 360, 0, 0, 165, 10, 1.0, 0),
        K(4.15 + wait, -360, 360, 360, 0, 0, 6, 12, 1.0, 0),
    ]
    if wait:
        keys.insert(8, replace(keys[7], at=2.50 + wait))
    return keys


def backward_roll(body: Body, style: RollStyle, rng: np.random.Generator) -> Movement:
    """From standing over sitting and the shoulders to standing, poses on an even clock; the feet step on where the style says so."""
    keys = [replace(k, at=style.before + k.at * style.pace) for k in roll_keys(style)]
    at = lambda s: style.before + s * style.pace  # noqa: E731
    wait = style.kneel / style.pace
    size = reach_lengths(body)
    plan = walked(("LR" * style.extra)[: style.extra], at(3.3 + wait), (-0.34 * size["leg"], 0.0))
    still = max((step.at + step.seconds for step in plan), default=at(3.55 + wait))
    t = clock(max(keys[-1].at, still) + style.after)
    pose = alive(pose_from(t, keys), t, rng)
    if style.head_turn:
        pose.neck_twist = pose.neck_twist + style.head_turn * window(t, at(1.2), at(2.3), 0.25 * style.pace)
    pose = on_the_floor(body, pose)
    free = place_bones(body, pose)
    moment = int(np.argmin(np.abs(t - at(1.75))))
    n = len(t)
    hands = []
    for side, sign in (("L", 1), ("R", -1)):
        shoulder = free.joint(body, f"upperarm01.{side}")[moment]
        spot = np.array([shoulder[0] - 0.10 * size["trunk"], shoulder[1] + sign * 0.03, palm_depth(body) - SINK])
        weight = ramp(t, at(1.28), at(1.52)) * (1 - ramp(t, at(2.45 + wait), at(2.72 + wait)))
        target = np.tile(spot, (n, 1))
        if side == "L" and style.hand_late:
            target[:, 2] += 0.09 * (1 - ramp(t, at(1.4), at(1.5) + style.hand_late))
        hands.append(
            Pin(
                f"hand.{side}",
                target,
                weight,
                np.tile([-1.0, sign * 0.35, 0.9], (n, 1)),
                np.tile([1.0, -sign * 0.15, 0.0], (n, 1)),
                np.tile([0.0, 0.0, 1.0], (n, 1)),
            )
        )
    feet = planted_feet(body, pose, t, ((0.0, at(0.9)), (at(2.85 + wait), t[-1])))
    pins: tuple[Pin, ...] = (*hands, *feet)
    if plan:
        pins = stepped(body, pose, t, plan, at(3.2 + wait), pins)
    if style.sway:
        swings = ramp(t, still - 0.2, still + 0.1) * (1 - ramp(t, still + 1.0, still + 1.6)) * style.sway * size["leg"]
        pose.place[:, 0] += swings * np.sin(2 * np.pi * 1.1 * (t - still))
        pose.place[:, 1] += 0.6 * swings * np.sin(2 * np.pi * 0.8 * (t - still) + 1)
    if style.lead is Side.RIGHT:
        pose, pins = mirrored(pose), mirrored_pins(pins)
    span = Span(Skill.BACKWARD_ROLL, at(0.0), still, style.lead)
    return Movement(t, place_bones(body, pose, pins), (span,))
