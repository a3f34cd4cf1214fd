"""The cartwheel: the inverted window (first hand down to first foot down), the hands on the floor and the finish."""

from __future__ import annotations

import numpy as np

from pipeline.stage.motions.movement import Span
from pipeline.stage.truths.geometry import TOUCHING, Attempt, Heights, TrueDetail, angle, between
from pipeline.stage.truths.steps import steps
from pipeline.vocabulary import DEGREES, SECONDS, STEPS, Side

CLOSED = 0.25  # of the leg's length: feet further apart than the hips are wide by this want a step to close them


def inverted_window(t: np.ndarray, low: Heights, span: Span) -> tuple[float, float]:
    """First hand down to the first foot down after both feet had left the floor, from the skin's heights."""
    inside = (t >= span.start_s - 1e-9) & (t <= span.end_s + 1e-9)
    hand = np.minimum(low["left_hand_low"], low["right_hand_low"]) < TOUCHING
    foot = np.minimum(low["left_foot_low"], low["right_foot_low"]) < TOUCHING
    first = np.flatnonzero(inside & hand)[0]
    flying = first + np.flatnonzero(~foot[first:])[0]
    landed = flying + np.flatnonzero(foot[flying:])[0]
    return float(t[first]), float(t[landed])


def cartwheel(a: Attempt) -> tuple[tuple[float, float], list[TrueDetail]]:
    """((start, end) s of the inverted window, true details), from the joints and the skin."""
    key = inverted_window(a.t, a.low, a.span)
    window = a.during(*key)
    j, out = a.j, []
    for side in ("left", "right"):
        knee = angle(j[f"{side}_hip"], j[f"{side}_knee"], j[f"{side}_ankle"])
        out.append(TrueDetail("knee_angle", Side(side), float(knee[window].min()), DEGREES))  # smallest, in space
    thighs = between(j["left_knee"] - j["left_hip"], j["right_knee"] - j["right_hip"])
    out.append(TrueDetail("legs_apart", Side.NONE, float(thighs[window].max()), DEGREES))
    for side in ("left", "right"):
        toes = angle(j[f"{side}_knee"], j[f"{side}_ankle"], j[f"{side}_foot_index"])
        out.append(TrueDetail("toe_point", Side(side), float(np.median(toes[window])), DEGREES))
    return key, out + _hands(a, key) + _finish(a, key)


def _hand(j: dict[str, np.ndarray], side: str) -> np.ndarray:
    """(n, 3) middle of the wrist and the knuckles."""
    return (j[f"{side}_wrist"] + j[f"{side}_index"] + j[f"{side}_pinky"]) / 3


def _hands(a: Attempt, key: tuple[float, float]) -> list[TrueDetail]:
    """When and where the hands come down, and whether the face is turned to them."""
    j, window = a.j, a.during(a.span.start_s, key[1] + 0.2)
    down = {s: np.flatnonzero(a.touching(f"{s}_hand") & window) for s in ("left", "right")}
    if not all(len(d) for d in down.values()):
        return []
    first, second = sorted(down, key=lambda s: down[s][0])
    hips = a.middle("hip")[:, :2]
    travel = hips[a.index(key[1])] - hips[a.index(a.span.start_s)]
    flat = lambda v: np.array([v[0], v[1], 0.0])  # noqa: E731
    line = np.median(_hand(j, second)[down[second]], axis=0) - np.median(_hand(j, first)[down[first]], axis=0)
    fingers = np.median((j[f"{second}_fingertip"] - j[f"{second}_wrist"])[down[second]], axis=0)
    ears, on = a.middle("ear"), np.stack([a.touching("left_hand"), a.touching("right_hand")], 1)[:, :, None]
    spot = np.where(on, np.stack([_hand(j, "left"), _hand(j, "right")], 1), 0).sum(1) / np.maximum(on.sum(1), 1)
    seen = a.during(*key) & on[:, :, 0].any(1)
    look = between(j["nose"] - ears, spot - ears)[seen]
    return [
        TrueDetail("hands_in_turn", Side.NONE, float(a.t[down[second][0]] - a.t[down[first][0]]), SECONDS),
        TrueDetail("hands_in_line", Side.NONE, float(between(flat(line), flat(travel))), DEGREES),
        TrueDetail("hand_turned_in", Side.NONE, float(between(flat(fingers), flat(travel))), DEGREES),
        TrueDetail("head_to_hands", Side.NONE, float(np.median(look)), DEGREES),
    ]


def _finish(a: Attempt, key: tuple[float, float]) -> list[TrueDetail]:
    """Steps after the second foot is down, beyond the one that closes feet put down apart."""
    after = a.during(key[1], a.span.end_s + 0.05)
    both = np.flatnonzero(after & a.touching("left_foot") & a.touching("right_foot"))
    if not len(both):
        return []
    i = both[0]
    feet, hips = (np.linalg.norm((a.j[f"left_{p}"] - a.j[f"right_{p}"])[i, :2]) for p in ("ankle", "hip"))
    closing = 1 if feet - hips > CLOSED * a.leg else 0
    taken = steps(a, float(a.t[i]), a.span.end_s + 0.05)
    return [TrueDetail("step_together", Side.NONE, float(max(0, taken - closing)), STEPS)]
