"""Lunge: stand, arms up, step into one line from fingertips to the back heel, hold, step back, arms down.

The loaded lunge is the same with the back knee bent and the weight forward, by itself or out of the straight lunge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.contact import SINK
from pipeline.stage.motions.arms import arm_lift
from pipeline.stage.motions.chained import cut
from pipeline.stage.motions.movement import Movement, Span, mirrored, mirrored_pins, reach_lengths, upright
from pipeline.stage.pose import Pin, Pose, place_bones
from pipeline.stage.timing import clock, curve, wander, window
from pipeline.vocabulary import Side, Skill


@dataclass(frozen=True)
class LoadedLungeStyle:
    """The back knee bent, the heel up, the weight forward, about to tumble; angles are aims."""

    lead: Side = Side.LEFT  # the leg in front
    back_knee: float = 128.0
    lean: float = 18.0  # of the trunk from the vertical, forward positive
    shoulder: float = 172.0
    elbow: float = 6.0
    leg_lean: float = 34.0  # of the line from the back ankle to the hip
    stride: float = 1.0
    heel_up: float = 40.0
    before: float = 0.7
    hold: float = 1.0
    after: float = 0.6
    pace: float = 1.0


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
    lift_s: float = 0.6  # seconds the arms take to come up, at pace 1
    lift_hitches: int | None = None  # None is the plain lift; 0 a sharp one, more a soft one that falters
    then: LoadedLungeStyle | None = None  # bent into a loaded lunge after the hold
    go_on: bool = False  # ends in the hold, for a cartwheel to go on from


def loaded_lunge(body: Body, style: LoadedLungeStyle, rng: np.random.Generator) -> Movement:
    """A loaded lunge stepped into at once."""
    common = {name: getattr(style, name) for name in ("lead", "shoulder", "elbow", "stride", "before", "hold", "after", "pace")}
    return lunge(body, LungeStyle(**common, then=style), rng, at_once=True)


def lunge(body: Body, style: LungeStyle, rng: np.random.Generator, *, at_once: bool = False) -> Movement:
    """at_once : the lunge is loaded from the start, as `style.then` says, and never straight."""
    size = reach_lengths(body)
    then = style.then
    up = style.before
    step = up + style.lift_s * style.pace
    down = step + 0.8 * style.pace
    straight = down + style.hold
    bent = straight + 0.45 * style.pace
    back = bent + then.hold if then and not at_once else straight
    stood = back + 0.75 * style.pace
    lowered = stood + 0.55 * style.pace
    t = clock(lowered + style.after)
    n = len(t)
    keys = lambda *rows: curve(t, rows)  # noqa: E731
    into = keys((step + 0.05, 0), (down, 1), (back, 1), (stood - 0.05, 0))
    load = np.ones(n) if at_once else keys((straight, 0), (bent, 1)) if then else np.zeros(n)
    loaded = lambda name, plain: plain if then is None else plain + load * (getattr(then, name) - plain)  # noqa: E731
    sway = wander(t, rng, 0.5)

    pose = Pose.standing(n)
    q = pose.limbs
    knee_flex = into * (180 - loaded("back_knee", style.back_knee))
    reach = np.sqrt(
        size["thigh"] ** 2 + size["shank"] ** 2 - 2 * size["thigh"] * size["shank"] * np.cos(np.radians(180 - np.clip(knee_flex, 2, None)))
    )
    lean = into * loaded("leg_lean", style.leg_lean) + 0.3 * sway
    heel = into * loaded("heel_up", style.heel_up)
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
    if then:
        trunk = trunk + into * load * (then.lean - offset - trunk)
        arch = arch * (1 - load)
    pose.root = upright(trunk + arch)
    pose.spine = -arch
    pose.neck = -0.25 * trunk
    arms = keys((up, 6), (step, style.shoulder), (stood, style.shoulder), (lowered, 6)) + wander(t, rng, 0.6)
    if style.lift_hitches is not None:
        gone = 6 + (style.shoulder - 6) * arm_lift(t, up, step - up, style.lift_hitches)
        arms = np.where(t < step, arms - keys((up, 6), (step, style.shoulder)) + gone, arms)
    if then and not at_once:
        arms = arms + load * into * (then.shoulder - style.shoulder)
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
    spans = [Span(Skill.LUNGE, step, stood, style.lead, hold=(down, straight), lift=(up - 0.1, step + 0.1))]
    if at_once:
        spans = [replace(spans[0], skill=Skill.LOADED_LUNGE, lift=None)]
    elif then:
        spans = [replace(spans[0], end_s=straight), Span(Skill.LOADED_LUNGE, straight, stood, then.lead, hold=(bent, back))]
    done = Movement(t, placed, tuple(spans))
    return cut(done, 0.0, back) if style.go_on else done
