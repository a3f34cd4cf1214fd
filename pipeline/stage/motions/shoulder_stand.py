"""Shoulder stand: stand, squat, sit, roll back, legs up over the shoulders, hold, roll down, squat, stand."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.stage.bodies import Body
from pipeline.stage.contact import SINK
from pipeline.stage.motions.arms import arm_lift
from pipeline.stage.motions.movement import Movement, Span, alive, mirrored, mirrored_pins, mirrored_turn, reach_lengths
from pipeline.stage.motions.rolling import Key, on_the_floor, planted_feet, pose_from
from pipeline.stage.motions.steps import quarter_turn, stepped
from pipeline.stage.pose import Pin, Pose, palm_depth, place_bones
from pipeline.stage.timing import clock, ramp, wander
from pipeline.vocabulary import Side, Skill

POSED_S = 0.7  # seconds the pose is kept


@dataclass(frozen=True)
class ShoulderStandStyle:
    """How it is done; angles are aims."""

    lead: Side = Side.LEFT
    hip: float = 176.0  # signed: below 180 piked, above arched
    knee: float = 176.0
    trunk: float = 172.0  # of the line shoulder-hip in the hold: 180 is upright over the shoulders, 150 leans well back
    point: float = 48.0
    arms: str = "back"  # "back": hands support the back; "floor": arms long on the floor
    before: float = 0.8
    hold: float = 1.3
    after: float = 0.8
    pace: float = 1.0
    legs: float = 1.5  # abduction of each leg in the hold: 1.5 together
    hands: int = 0  # that push off the floor to rise
    pose: bool = False  # ends with the arms lifted into a pose
    turn: float = 0.0  # degrees turned on the feet after rising, to the lead side positive
    lift_s: float = 0.5  # seconds the arms take into the pose
    lift_hitches: int = 0  # 0 sharp, more soft: the lift falters


def stand_keys(style: ShoulderStandStyle, rise: float) -> list[Key]:
    """Key poses; times from the start of the squat at pace 1, the hold from 2.2 to rise."""
    K = Key
    spine = 26.0
    lean = -style.trunk - 0.45 * spine
    thigh = style.trunk + (180 - style.hip)
    shank = thigh - (180 - style.knee)
    arm, elbow = (60, 95) if style.arms == "back" else (35, 5)
    up = dict(lean=lean, thigh=thigh, shank=shank, spine=spine, neck=84, arm=arm, elbow=elbow, flat=0, point=style.point, apart=style.legs)
    keys = [
        K(0.00, 0, 0, 0, 0, 0, 6, 12, 1),
        K(0.65, 32, 100, -34, 42, 15, 128, 15, 1),
        K(0.95, -8, 122, -22, 55, 40, 110, 10, 1),
        K(1.35, -82, 205, 75, 56, 60, 55, 20, 0.0, 25),
        K(1.75, -140, 210, 160, 46, 76, arm, elbow, 0.0, 40, 2),
        K(2.20, **up),
        K(rise, **up),
        K(rise + 0.50, -140, 215, 130, 50, 74, arm, elbow, 0.0, 30, 2),
        K(rise + 0.90, -80, 200, 60, 58, 58, 80, 15, 0.0, 10),
        K(rise + 1.25, -6, 122, -24, 56, 30, 115, 10, 1, -10),
        K(rise + 1.60, 34, 100, -34, 42, 10, 130, 10, 1, -30),
        K(rise + 2.25, 0, 0, 0, 0, 0, 165, 10, 1, 0),
        K(rise + 2.80, 0, 0, 0, 0, 0, 6, 12, 1, 0),
    ]
    if style.pose:
        keys[-2:] = [replace(keys[-2], arm=22, elbow=14), replace(keys[-1], arm=10)]
    return keys


def shoulder_stand(body: Body, style: ShoulderStandStyle, rng: np.random.Generator) -> Movement:
    """From standing down, up onto the shoulders, the hold and the rise, poses on an even clock; with the finish where the style asks for it."""
    at = lambda s: style.before + s * style.pace  # noqa: E731
    rise = 2.2 + style.hold / style.pace
    keys = [replace(k, at=at(k.at)) for k in stand_keys(style, rise)]
    risen = at(rise + 2.25)
    turning = quarter_turn("L" if style.turn > 0 else "R", risen + 0.05, style.turn) if style.turn else ()
    still = max((step.at + step.seconds for step in turning), default=risen)
    lift = (still + 0.12, still + 0.12 + style.lift_s)
    end = lift[1] if style.pose else still
    t = clock((end + POSED_S + 0.6 if style.pose else max(keys[-1].at, still + 0.3)) + style.after)
    n = len(t)
    pose = alive(pose_from(t, keys), t, rng)
    if style.pose:
        up = arm_lift(t, lift[0], style.lift_s, style.lift_hitches) * (1 - ramp(t, end + POSED_S, end + POSED_S + 0.6))
        for side in "LR":
            pose.limbs[f"arm.{side}"] = pose.limbs[f"arm.{side}"] * (1 - up) + 168 * up
            pose.limbs[f"elbow.{side}"] = pose.limbs[f"elbow.{side}"] * (1 - up) + 5 * up
    held = ramp(t, at(1.75), at(2.2)) * (1 - ramp(t, at(rise), at(rise + 0.5)))
    wobble = held * wander(t, rng, 0.7, 2.0)
    for side in "LR":
        pose.limbs[f"hip.{side}"] = pose.limbs[f"hip.{side}"] + wobble
    pose = on_the_floor(body, pose)
    size = reach_lengths(body)
    free = place_bones(body, pose)
    moment = int(np.argmin(np.abs(t - at(2.3))))
    hands = []
    weight = ramp(t, at(1.65), at(2.1)) * (1 - ramp(t, at(rise), at(rise + 0.4)))
    chest = free.turn[:, body.bone["spine03"]]
    for side, sign in (("L", 1), ("R", -1)):
        if style.arms == "back":
            anchor = free.joint(body, "spine03") + chest @ np.array([sign * 0.33 * size["trunk"] * 0.6, 0.16 * size["trunk"], 0.0])
            pole = np.tile([0.75, sign * 0.25, -0.6], (n, 1))
            facing, normal = chest @ np.array([-sign * 0.25, 0.0, -1.0]), chest @ np.array([sign * 0.3, 1.0, 0.0])
        else:
            shoulder = free.joint(body, f"upperarm01.{side}")[moment]
            anchor = np.tile([shoulder[0] + 0.93 * size["arm"], shoulder[1] + sign * 0.04, palm_depth(body) - SINK], (n, 1))
            pole = np.tile([0.0, sign * 1.0, 0.4], (n, 1))
            facing, normal = np.tile([1.0, 0.0, 0.0], (n, 1)), np.tile([0.0, 0.0, 1.0], (n, 1))
        hands.append(Pin(f"hand.{side}", anchor, weight, pole, facing, normal))
    feet = planted_feet(body, pose, t, ((0.0, at(0.85)), (at(rise + 1.35), t[-1])))
    pins: tuple[Pin, ...] = (*hands, *feet)
    if style.hands:
        pins = (*_pushing(body, pose, t, pins, style.hands, at(rise + 1.0), at(rise + 1.62)), *feet)
    if turning:
        pins = stepped(body, pose, t, turning, risen, pins)
    if style.lead is Side.RIGHT:
        pose, pins = mirrored(pose), mirrored_pins(pins)
    around = (lift[0] - 0.1, lift[1] + 0.1) if style.pose else None
    span = Span(Skill.SHOULDER_STAND, at(0.0), end, style.lead, hold=(at(2.2), at(rise)), lift=around)
    return Movement(t, place_bones(body, pose, pins), (span,), mirrored_turn(style.turn, style.lead))


def _pushing(body: Body, pose: Pose, t: np.ndarray, pins: tuple[Pin, ...], count: int, start: float, end: float) -> list[Pin]:
    """The hands' pins, with `count` hands (the left first) flat on the floor beside the hips from start to end."""
    free = place_bones(body, pose, pins)
    n, size = len(t), reach_lengths(body)
    moment = int(np.argmin(np.abs(t - (start + 0.5 * (end - start)))))
    out = []
    for pin, side, sign in zip(pins, "LR", (1, -1), strict=False):
        if side == "R" and count < 2:
            out.append(pin)
            continue
        shoulder = free.joint(body, f"upperarm01.{side}")[moment]
        spot = np.array([shoulder[0], shoulder[1] + sign * 0.1 * size["arm"], palm_depth(body) - SINK])
        w = ramp(t, start - 0.2, start) * (1 - ramp(t, end, end + 0.2))
        late = t > start - 0.3
        pick = lambda a, b: np.where(late[:, None], b, a)  # noqa: B023, E731
        turned = lambda v: np.tile(np.asarray(v, float), (n, 1))  # noqa: E731
        out.append(Pin(pin.limb, pick(pin.target, turned(spot)), np.where(late, w, pin.weight),
                       pick(pin.pole, turned([-0.6, sign * 0.8, 0.2])), pick(pin.facing, turned([0.9, sign * 0.45, 0.0])),
                       pick(pin.normal, turned([0.0, 0.0, 1.0]))))  # fmt: skip
    return out
