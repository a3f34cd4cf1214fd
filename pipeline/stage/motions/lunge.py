"""Lunge: stand, arms up, step into one line from fingertips to the back heel, hold, step back, arms down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.contact import SINK
from pipeline.stage.motions.movement import Movement, Span, mirrored, mirrored_pins, reach_lengths, upright
from pipeline.stage.pose import Pin, Pose, place_bones
from pipeline.stage.timing import clock, curve, wander, window
from pipeline.vocabulary import Side, Skill


@dataclass(frozen=True)
class LungeStyle:
    """How it is done; angles in degrees are aims, the true ones are measured on the joints."""

    lead: Side = Side.LEFT  # the leg in front
    back_knee: float = 176.0
    hip: float = 178.0  # signed: below 180 the trunk tips forward of the back leg's line
    shoulder: float = 176.0  # below 180 the arms come down in front of the ears
    elbow: float = 6.0  # flexion
    leg_lean: float = 37.0  # of the back leg from the vertical
    stride: float = 1.12  # front ankle ahead of the back ankle, in leg lengths
    heel_up: float = 22.0
    before: float = 0.9
    hold: float = 1.1
    after: float = 0.8
    pace: float = 1.0


def lunge(body: Body, style: LungeStyle, rng: np.random.Generator) -> Movement:
    size = reach_lengths(body)
    up = style.before
    step = up + 0.6 * style.pace
    down = step + 0.8 * style.pace
    back = down + style.hold
    stood = back + 0.75 * style.pace
    lowered = stood + 0.55 * style.pace
    t = clock(lowered + style.after)
    n = len(t)
    keys = lambda *rows: curve(t, rows)  # noqa: E731
    into = keys((step + 0.05, 0), (down, 1), (back, 1), (stood - 0.05, 0))
    sway = wander(t, rng, 0.5)

    pose = Pose.standing(n)
    q = pose.limbs
    knee_flex = into * (180 - style.back_knee)
    reach = np.sqrt(
        size["thigh"] ** 2 + size["shank"] ** 2 - 2 * size["thigh"] * size["shank"] * np.cos(np.radians(180 - np.clip(knee_flex, 2, None)))
    )
    lean = into * style.leg_lean + 0.3 * sway
    heel = into * style.heel_up
    ball = float(-body.head_of("toe2-1.R")[1] + body.head_of("foot.R")[1]), float(body.head_of("foot.R")[2] - 0.012)
    ankle_x = ball[0] * (1 - np.cos(np.radians(heel))) + ball[1] * np.sin(np.radians(heel))
    ankle_z = 0.012 + ball[1] * np.cos(np.radians(heel)) + ball[0] * np.sin(np.radians(heel))
    rear = np.stack([ankle_x, np.full(n, -size["hip"]), ankle_z], 1)
    pose.place[:, 0] = ankle_x + reach * np.sin(np.radians(lean))
    pose.place[:, 2] = ankle_z + reach * np.cos(np.radians(lean))

    travel = keys((step, 0), (down - 0.05, 1), (back + 0.05, 1), (stood, 0))
    lift = window(t, step + 0.2 * (down - step), down - 0.3 * (down - step), 0.18) + window(t, back + 0.25, stood - 0.25, 0.18)
    front = np.stack([travel * style.stride * size["leg"], np.full(n, size["hip"]), np.full(n, size["ankle"]) + 0.075 * lift], 1)

    thigh_lean = lean - knee_flex * size["shank"] / size["leg"]
    offset = float(np.degrees(np.arctan2(body.head_of("upperleg01.L")[1] - body.head_of("upperarm01.L")[1], size["trunk"])))
    trunk = thigh_lean + into * (180 - style.hip) - offset * into + 0.4 * sway
    arch = into * max(style.hip - 180, 0) * 0.5
    pose.root = upright(trunk + arch)
    pose.spine = -arch
    pose.neck = -0.25 * trunk
    arms = keys((up, 6), (step, style.shoulder), (stood, style.shoulder), (lowered, 6)) + wander(t, rng, 0.6)
    for side in "LR":
        q[f"arm.{side}"] = arms
        q[f"spread.{side}"] = keys((up, 9), (step, 5), (stood, 5), (lowered, 9))
        q[f"elbow.{side}"] = keys((up, 12), (0.5 * (up + step), 25), (step, style.elbow), (stood, style.elbow), (lowered, 12))
    ahead = np.tile([1.0, 0.0, 0.0], (n, 1))
    sole = np.tile([0.0, 0.0, 1.0], (n, 1))
    pitch = np.stack([np.cos(np.radians(heel)), np.zeros(n), -np.sin(np.radians(heel))], 1)
    pitch_up = np.stack([np.sin(np.radians(heel)), np.zeros(n), np.cos(np.radians(heel))], 1)
    ones = np.ones(n)
    tip = lift * 14
    front_facing = np.stack([np.cos(np.radians(tip)), np.zeros(n), -np.sin(np.radians(tip))], 1)
    front_up = np.stack([np.sin(np.radians(tip)), np.zeros(n), np.cos(np.radians(tip))], 1)
    pose.place[:, 2] -= SINK
    rear[:, 2] -= SINK
    front[:, 2] -= SINK
    pins: tuple[Pin, ...] = (
        Pin("foot.R", rear, ones, ahead, pitch, pitch_up),
        Pin("foot.L", front, ones, ahead + 0.12 * sole, front_facing, front_up),
    )
    if style.lead is Side.RIGHT:
        pose, pins = mirrored(pose), mirrored_pins(pins)
    placed = place_bones(body, pose, pins)
    span = Span(Skill.LUNGE, step, stood, style.lead, hold=(down, back))
    return Movement(t, placed, (span,))
