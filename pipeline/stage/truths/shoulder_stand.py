"""The shoulder stand over the hold (legs up and still), and the rise to standing."""

from __future__ import annotations

import numpy as np

from pipeline.stage.truths.arms import lift_details
from pipeline.stage.truths.geometry import Attempt, TrueDetail, angle, between, directed, facing
from pipeline.vocabulary import DEGREES, HANDS, Side


def shoulder_stand(a: Attempt) -> tuple[tuple[float, float], list[TrueDetail]]:
    """The median of each detail over the hold; hands, turn and arms from the feet's touch to the end."""
    held = a.during(*a.hold)
    j = {name: v[held] for name, v in a.j.items()}
    out = []
    for side in ("left", "right"):
        s, h, k, foot, toe = (j[f"{side}_{p}"] for p in ("shoulder", "hip", "knee", "ankle", "foot_index"))
        leg = foot - h
        rows = (
            ("hip_angle", directed(j, s, h, foot)),  # shoulder-hip-ankle, signed
            ("hip_knee_angle", directed(j, s, h, k)),  # shoulder-hip-knee, signed
            ("leg_to_vertical", np.degrees(np.arctan2(np.hypot(leg[:, 0], leg[:, 1]), leg[:, 2]))),  # hip-ankle line from the plumb line
            ("toe_point", angle(k, foot, toe)),  # shank to foot (ankle to tip of the toes)
        )
        for name, value in rows:
            sides = (Side(side), *([Side.NONE] if side == a.near.value else []))
            out += [TrueDetail(name, x, float(np.median(value)), DEGREES) for x in sides]
    legs = between(j["left_ankle"] - j["left_hip"], j["right_ankle"] - j["right_hip"])
    out.append(TrueDetail("legs_together", Side.NONE, float(np.median(legs)), DEGREES))
    return a.hold, out + _rise(a) + lift_details(a)


def _rise(a: Attempt) -> list[TrueDetail]:
    """Hands on the floor and the turn, from the feet's first touch after the hold to the end; nothing where the feet never touch."""
    after = a.during(a.hold[1], a.span.end_s)
    touch = np.flatnonzero(after & (a.touching("left_foot") | a.touching("right_foot")))
    if not len(touch):
        return []
    rise = a.during(float(a.t[touch[0]]), a.span.end_s)
    hands = sum(int(np.any(a.touching(f"{side}_hand") & rise)) for side in ("left", "right"))
    looks = facing(a.j)
    turned = looks[a.index(a.span.end_s)] - looks[touch[0]]
    turned = turned if a.span.lead is Side.LEFT else -turned
    return [TrueDetail("rise_hands_used", Side.NONE, float(hands), HANDS), TrueDetail("finish_side", Side.NONE, float(turned), DEGREES)]
