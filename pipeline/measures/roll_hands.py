"""The backward roll while the hips are above the head, seen from the side: do both hands push? Whether the head turns stays open.

Safety: a head turned to a side loads the neck on that side. From the side the turn is a matter of depth, and the landmarks do not
show it (turned by 31 degrees reads 3): there is no value, and the reason says how to film it. A coach's eye beside her decides.
"""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.track import INDEX
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.look import BOTH, Look
from pipeline.measures.reading import Reading
from pipeline.measures.uncertainty import Evidence, Table, make_reading
from pipeline.vocabulary import Side, Skill

DOWN = 0.16  # trunks above a resting foot at which a hand is on the floor
DOWN_SD = 0.06  # trunks; how differently that height may be read
FOOT = ("heel", "foot_index")
HAND = ("wrist", "index", "pinky")
FACE_LINE = ("left_ear", "nose", "right_ear")
HANDS_LINE = names((Side.LEFT, "wrist"), (Side.RIGHT, "wrist"))
FROM_BEHIND = "Whether the head turns to a side cannot be told from the side. Watch it from beside her, or film one roll along the mat, from behind or in front."
NOT_DOWN = "It could not be seen when the hands or the feet came down. Keep hands, feet and the mat in the picture from start to end."


def readings(look: Look, table: Table) -> list[Reading]:
    """Why the head's turn stays open, and the seconds that one hand pushes alone."""
    problem = problem_of(look.scene, 1.0, "", "", FROM_BEHIND) or FROM_BEHIND
    found = {"head_turn": Evidence(float("nan"), line=FACE_LINE, problem=problem), "hands_even": _hands(look)}
    return [make_reading(Skill.BACKWARD_ROLL, detail, Side.NONE, evidence, table) for detail, evidence in found.items()]


def hand_heights(look: Look) -> np.ndarray:
    """(n, 2) trunks that each hand's lowest point lies above the floor on its side: where that side's foot rests before and after."""
    s = look.scene
    out = []
    for side in BOTH:
        hand, foot = (np.min([s.height[:, INDEX[f"{side}_{part}"]] for part in parts], axis=0) for parts in (HAND, FOOT))
        out.append((hand - np.nanquantile(foot, 0.15)) / s.unit if np.isfinite(foot).any() else np.full(len(s.t), np.nan))
    return np.stack(out, axis=1)


def alone(t: np.ndarray, heights: np.ndarray, level: float) -> float:
    """Seconds from the first hand's touch on for which just one hand is lower than `level`."""
    down = heights < level
    first = np.flatnonzero(down.any(axis=1))
    if len(first) == 0 or len(t) < 2:
        return 0.0
    step = np.gradient(t)
    return float(np.sum(step[first[0] :] * (down[first[0] :, 0] != down[first[0] :, 1])))


def _hands(look: Look) -> Evidence:
    s, a = look.scene, look.attempt
    start, end = a.moment("hands_s"), a.moment("feet_s")
    during = look.between(start - 0.3, end)
    heights = hand_heights(look)
    ok = np.isfinite(heights[during]).all(axis=1)
    share = float(ok.mean()) if len(ok) else 0.0
    seen = share if np.isfinite(end - start) else 1.0
    problem = problem_of(s, seen, "hands", "time from hands to feet", words.SIDE_VIEW) or ("" if np.isfinite(end - start) else NOT_DOWN)
    if not problem and (s.floor is None or ok.sum() < 4):
        problem = NOT_DOWN
    if problem:
        return Evidence(float("nan"), usable=share, line=HANDS_LINE, problem=problem)
    t, h = s.t[during][ok], heights[during][ok]
    value, lower, higher = (alone(t, h, level) for level in (DOWN, DOWN - DOWN_SD, DOWN + DOWN_SD))
    frame = float(np.median(np.diff(s.t)))
    far = float(np.median(np.max(h, axis=1)))  # a hand seen high over the floor for most of the time
    return Evidence(
        value, spread=float(np.hypot(np.std([value, lower, higher]), frame / 2)), view=0.25 * far * (end - start) if far > 0.4 else 0.0,
        usable=share, at_s=float(start), line=HANDS_LINE, limits=(0.0, np.inf),
    )  # fmt: skip
