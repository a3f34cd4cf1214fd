"""The backward roll: from the ankles passing over the shoulders, in the direction of the roll, to standing, and what comes around it."""

from __future__ import annotations

import numpy as np

from pipeline.stage.truths.geometry import TOUCHING, Attempt, TrueDetail, across, unit
from pipeline.stage.truths.steps import steps
from pipeline.vocabulary import DEGREES, LEG, SECONDS, SHANK, STEPS, Side

STOOD_S = 1.0  # of standing that is watched for sway


def backward_roll(a: Attempt) -> tuple[tuple[float, float], list[TrueDetail]]:
    """((start, end) s of the key window, true details), from the joints and the skin."""
    inside = a.during(a.span.start_s, a.span.end_s)
    hips, shoulders = a.middle("hip"), a.middle("shoulder")
    way = (hips[inside][-1] - hips[inside][0])[:2]
    way /= np.linalg.norm(way)
    ahead = (a.middle("ankle") - shoulders)[:, :2] @ way
    over = inside & (ahead > 0) & (hips[:, 2] > shoulders[:, 2])  # rolled onto the shoulders, the feet past them
    key = (float(a.t[np.flatnonzero(over)[0]]), a.span.end_s)
    window = a.during(*key)
    knee = np.minimum(a.low["left_knee_low"], a.low["right_knee_low"])[window]
    shank = np.linalg.norm(a.j["left_knee"] - a.j["left_ankle"], axis=-1)[0]
    touching = knee < TOUCHING
    clearance = 0.0 if touching.any() else 100 * float(knee.min()) / float(shank)  # lowest skin of either knee above the floor
    step = float(a.t[1] - a.t[0])
    out = [
        TrueDetail("knee_clearance", Side.NONE, clearance, SHANK),
        TrueDetail("knee_contact_time", Side.NONE, float(touching.sum()) * step, SECONDS),
    ]
    return key, out + _sway(a) + _head(a) + _hands_and_feet(a, window)


def _sway(a: Attempt) -> list[TrueDetail]:
    """Path of the hips' middle over the feet's in the first second of standing; nothing where the clip ends before."""
    stood = a.during(a.span.end_s, a.span.end_s + STOOD_S)
    if a.t[-1] < a.span.end_s + 0.9 * STOOD_S:
        return []
    feet = 0.25 * sum(a.j[f"{side}_{p}"] for side in ("left", "right") for p in ("heel", "foot_index"))
    over = (a.middle("hip") - feet)[stood][:, :2]
    path = float(np.sum(np.linalg.norm(np.diff(over, axis=0), axis=1)))
    return [TrueDetail("standing_sway", Side.NONE, 100 * path / a.leg, LEG)]


def _head(a: Attempt) -> list[TrueDetail]:
    """Largest turn of the face out of the trunk's front-back plane while the hips are above the head."""
    ears = a.middle("ear")
    upside_down = a.during(a.span.start_s, a.span.end_s) & (a.middle("hip")[:, 2] > ears[:, 2])
    upside_down &= a.middle("shoulder")[:, 2] < a.middle("hip")[:, 2]
    aside = np.abs(np.sum(unit(a.j["nose"] - ears) * across(a.j, "shoulder"), axis=1))
    turned = np.degrees(np.arcsin(np.clip(aside, 0, 1)))[upside_down]
    return [TrueDetail("head_turn", Side.NONE, float(turned.max()), DEGREES)] if len(turned) else []


def _hands_and_feet(a: Attempt, window: np.ndarray) -> list[TrueDetail]:
    """Seconds of one hand without the other, from the first hand to the feet's touch; steps from both feet down to standing still."""
    feet = np.flatnonzero(window & (a.touching("left_foot") | a.touching("right_foot")))
    both = np.flatnonzero(window & a.touching("left_foot") & a.touching("right_foot"))
    hands = np.flatnonzero(a.during(a.span.start_s, a.span.end_s) & (a.touching("left_hand") | a.touching("right_hand")))
    if not (len(feet) and len(both) and len(hands)):
        return []
    one = (a.touching("left_hand") != a.touching("right_hand"))[hands[0] : feet[0] + 1]
    return [
        TrueDetail("hands_even", Side.NONE, float(one.sum()) * float(a.t[1] - a.t[0]), SECONDS),
        TrueDetail("extra_steps", Side.NONE, float(steps(a, float(a.t[both[0]]), a.span.end_s + 0.05)), STEPS),
    ]
