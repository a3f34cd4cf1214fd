"""The cartwheel's hands on the floor, seen from the front: one after the other, in line, and (hardly ever to be seen) turned in."""

from __future__ import annotations

import numpy as np

from pipeline.geometry import middle
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.cartwheel_shape import hand_place
from pipeline.measures.look import BOTH, Look
from pipeline.measures.reading import Reading
from pipeline.measures.uncertainty import Evidence, Table, make_reading
from pipeline.vocabulary import Side, Skill

FOCAL = 0.80  # of the picture's longer side: the main camera of common phones when filming (65 to 70 degrees across, from memory)
STEEPEST, FLATTEST = 2.0, 9.0  # how far away against how high the phone is: 2 m off at 1 m height to 4.5 m off on a low stool
UNKNOWN_PITCH = 0.35  # of the same; the phone may look up or down by some degrees
HAND_SD = 0.05  # trunks; how differently two hands' landmarks lie over the same floor
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


def _in_turn(look: Look, share: float, problem: str) -> Evidence:
    first, second = look.attempt.moment("hand1_s"), look.attempt.moment("hand2_s")
    if not problem and not np.isfinite(second - first):
        problem = NOT_DOWN
    if problem:
        return Evidence(float("nan"), usable=share, line=LINE, problem=problem)
    frame = float(np.median(np.diff(look.scene.t)))
    return Evidence(second - first, spread=frame / np.sqrt(6), usable=share, at_s=second, line=LINE, limits=(0.0, np.inf))


def far_over_high(look: Look) -> float:
    """How far away the phone stands against how high: a level phone sees the floor under the athlete that much below its middle."""
    s = look.scene
    if s.floor is None:
        return float("nan")
    feet = middle(look.track["left_heel"], look.track["right_heel"])
    x = np.nanmedian(feet[:, 0]) if np.isfinite(feet).any() else look.track.size[0] / 2
    below = float(np.median(s.floor.y) + s.floor.slope * x) - look.track.size[1] / 2
    return float(np.clip(FOCAL * max(look.track.size) / max(below, 1.0), STEEPEST, FLATTEST))


def _in_line(look: Look, share: float, problem: str) -> Evidence:
    """A hand put down further from the camera lies higher in the picture, by as much as the phone is high against its distance."""
    s = look.scene
    places = [hand_place(s, side, s.key) for side in BOTH]
    far = far_over_high(look)
    if not problem and not (np.isfinite(far) and np.isfinite(places).all()):
        problem = NOT_DOWN
    if problem:
        return Evidence(float("nan"), usable=share, line=LINE, problem=problem)
    lean = np.radians(s.floor.lean) if s.floor is not None else 0.0
    slope = (s.floor.slope if s.floor is not None else 0.0) - np.tan(lean)  # the travel's own slope, once levelled
    along, down = places[1] - places[0]
    away = far * (down - slope * along)
    apart = float(np.hypot(along, away))
    if abs(along) < TOO_NEAR * s.unit:
        why = (
            "The hands came down too near to each other in the picture to give a line. Film the cartwheel from the front, across its path."
        )
        return Evidence(float("nan"), usable=share, line=LINE, problem=why)
    value = float(np.degrees(np.arctan2(abs(away), abs(along))))
    scatter = np.degrees(far * HAND_SD * np.sqrt(2) * s.unit * abs(along) / apart**2)
    view = np.degrees(UNKNOWN_PITCH * abs(away) * abs(along) / apart**2)
    at = look.attempt.moment("hand2_s")
    at = at if np.isfinite(at) else float(s.t[s.key][0])
    return Evidence(value, spread=float(scatter), view=float(view), usable=share, at_s=at, line=LINE, limits=(0.0, 90.0))
