"""The cartwheel's hands on the floor, seen from the front: one after the other, in line, and (hardly ever to be seen) turned in."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.track import INDEX
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.cartwheel_shape import hand_place
from pipeline.measures.look import BOTH, FOCAL, Look
from pipeline.measures.reading import Reading
from pipeline.measures.uncertainty import Evidence, Table, make_reading
from pipeline.vocabulary import Side, Skill

TRUNK_M, HELD_M = 0.38, 1.1  # metres: a child's trunk, shoulder to hip (Snyder et al. 1977, from memory), and how high a phone is held
STEEPEST, FLATTEST = 2.0, 8.0  # of the distance against the height
UNKNOWN_HEIGHT = 0.4  # of the same: 0.65 to 1.6 m
HAND_SD = 0.05  # trunks; how differently two hands' landmarks lie over the same floor
TOGETHER_S = 0.25  # how long after the second hand's touch the first one surely still is down
DOWN = 0.08  # trunks above its own lowest place at which a hand has come down
EARLY_S = 0.4
HAND = ("wrist", "index", "pinky")
TOO_NEAR = 0.25  # trunks between the hands in the picture; nearer, their line has no direction

LINE = names((Side.LEFT, "index"), (Side.LEFT, "wrist"), (Side.RIGHT, "wrist"), (Side.RIGHT, "index"))
NOT_DOWN = "It could not be seen when each hand came down. Keep both hands and the mat in the picture from the first step on."
HAND_TOO_SMALL = (
    "Which way the fingers point cannot be told from a clip of the whole body: the hand is too small in it. "
    "Film one cartwheel close to the floor so that the hand is as wide as a quarter of the picture, and look yourself."
)


def readings(look: Look, table: Table) -> list[Reading]:
    """Seconds from hand to hand, the hands' line against the travel, and why the fingers' direction stays open."""
    key = look.scene.key
    share = float(np.mean([np.isfinite(look.scene.p(side, "wrist")[key, 0]).mean() for side in BOTH])) if key.any() else 0.0
    problem = problem_of(look.scene, share, "hands", "time upside down", words.FRONT_VIEW)
    closed = Evidence(float("nan"), usable=share, line=LINE, problem=HAND_TOO_SMALL)
    found = {"hands_in_turn": _in_turn(look, share, problem), "hands_in_line": _in_line(look, share, problem), "hand_turned_in": closed}
    return [make_reading(Skill.CARTWHEEL, detail, Side.NONE, evidence, table) for detail, evidence in found.items()]


def touches(look: Look) -> tuple[float, float]:
    """(left, right) seconds at which each hand comes down to within DOWN of its own place on the floor; NaN where not seen to."""
    s, first = look.scene, look.attempt.moment("hand1_s")
    during = look.between(first - EARLY_S, look.attempt.key_end_s)
    out = []
    for side in BOTH:
        height = np.min([s.height[:, INDEX[f"{side}_{part}"]] for part in HAND], axis=0) / s.unit
        i = np.flatnonzero(during & np.isfinite(height))
        if len(i) < 4:
            out.append(float("nan"))
            continue
        h, t = height[i], s.t[i]
        level = float(np.quantile(h, 0.15)) + DOWN
        falls = [k for k in range(1, len(h)) if h[k - 1] >= level > h[k]]
        k = falls[0] if falls else 0
        out.append(float(t[k] - (level - h[k]) / (h[k - 1] - h[k]) * (t[k] - t[k - 1])) if k else float("nan"))
    return out[0], out[1]


def _in_turn(look: Look, share: float, problem: str) -> Evidence:
    left, right = touches(look) if not problem else (float("nan"), float("nan"))
    if not problem and not np.isfinite(left - right):
        problem = NOT_DOWN
    if problem:
        return Evidence(float("nan"), usable=share, line=LINE, problem=problem)
    frame = float(np.median(np.diff(look.scene.t)))
    value, at = abs(left - right), max(left, right)
    early = look.attempt.moment("hand2_s") - look.attempt.moment("hand1_s")  # the same, read higher above the floor
    doubt = abs(value - early) if np.isfinite(early) else value
    return Evidence(
        (value + early) / 2 if np.isfinite(early) else value,
        spread=float(np.hypot(frame / np.sqrt(6), doubt)),
        usable=share,
        at_s=at,
        line=LINE,
        limits=(0.0, np.inf),
    )


def hand_places(look: Look) -> list[np.ndarray]:
    """Where the left and the right hand stand on the floor, (2,) pixels each: looked at in the same frames, while both are down, so
    that a phone which pans or shakes moves them alike; each while it is lowest where they were never seen down together."""
    s = look.scene
    first, second = look.attempt.moment("hand1_s"), look.attempt.moment("hand2_s")
    both = look.between(second + 0.04, min(second + TOGETHER_S, look.attempt.key_end_s)) if np.isfinite(second - first) else s.key
    return [hand_place(s, side, both if both.sum() >= 2 else s.key) for side in BOTH]


def far_over_high(look: Look) -> float:
    """How far away the phone stands against how high it is held: the distance from how large the athlete looks, the height as most
    people hold one. Which way the phone looks up or down cannot be told, so neither can the height be."""
    away = FOCAL * max(look.track.size) * TRUNK_M / look.scene.unit
    return float(np.clip(away / HELD_M, STEEPEST, FLATTEST))


def _in_line(look: Look, share: float, problem: str) -> Evidence:
    """A hand put down further from the camera lies higher in the picture, by as much as the phone is high against its distance."""
    s = look.scene
    places, far = hand_places(look), far_over_high(look)
    if not problem and not (np.isfinite(far) and np.isfinite(places).all()):
        problem = NOT_DOWN
    if problem:
        return Evidence(float("nan"), usable=share, line=LINE, problem=problem)
    lean = np.radians(s.floor.lean) if s.floor is not None else 0.0
    slope = (s.floor.slope if s.floor is not None else 0.0) - np.tan(lean)  # the travel's own slope, once levelled
    along, down = places[1] - places[0]
    doubt = far * HAND_SD * np.sqrt(2) * s.unit
    away = float(np.sqrt(max((far * (down - slope * along)) ** 2 - doubt**2, 0.0)))  # jitter alone would look like a distance
    apart = float(np.hypot(along, away))
    if abs(along) < TOO_NEAR * s.unit:
        why = (
            "The hands came down too near to each other in the picture to give a line. Film the cartwheel from the front, across its path."
        )
        return Evidence(float("nan"), usable=share, line=LINE, problem=why)
    value = float(np.degrees(np.arctan2(away, abs(along))))
    scatter = np.degrees(doubt * abs(along) / apart**2)
    view = np.degrees(UNKNOWN_HEIGHT * away * abs(along) / apart**2)
    at = look.attempt.moment("hand2_s")
    at = at if np.isfinite(at) else float(s.t[s.key][0])
    return Evidence(value, spread=float(scatter), view=float(view), usable=share, at_s=at, line=LINE, limits=(0.0, 90.0))
