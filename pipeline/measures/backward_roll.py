"""The backward roll from the feet passing overhead to standing: how far the knees stay off the floor, or how long they rest on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.attempts.once import once
from pipeline.geometry import length
from pipeline.landmarks.track import INDEX
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.reading import Reading
from pipeline.measures.roll_contact import Signs, contact_model, seconds_on_floor, signs_of
from pipeline.measures.roll_floor import BOTH, knees
from pipeline.measures.scene import Scene, other
from pipeline.measures.uncertainty import PASSES_SHARE, Evidence, Table, make_reading
from pipeline.vocabulary import Side, Skill

ALIKE = 6.0  # % of the shank; knees read no further apart than this are as likely level with each other

NEARER_ALONE = 25.0  # degrees off square from which the nearer knee counts alone


@dataclass(frozen=True)
class Lower:
    """The lower knee over time, % of the shank."""

    clear: np.ndarray  # (n,) its underside above the floor
    over_foot: np.ndarray  # (n,) above the lower end of its foot
    shoulders: np.ndarray  # (n,) the shoulders' underside above the floor
    side: Side  # the knee that gets lowest; the nearer one where they are alike


def shank_pixels(scene: Scene) -> float:
    """The athlete's own shank: its longest appearance over the attempt (a high quantile), the longer of the two sides."""
    lengths = [length(scene.p(side, "knee"), scene.p(side, "ankle")) for side in BOTH]
    known = [float(np.nanquantile(v, 0.85)) for v in lengths if np.isfinite(v).any()]
    return max(known) if known else float("nan")


@once
def lower_knee(scene: Scene) -> Lower:
    """The lower knee in each frame. Knees near each other are read better together: their mean counts, and of a difference only what goes
    beyond the usual error. The further off square, the less the farther knee is seen, and the less it counts."""
    both = knees(scene, shank_pixels(scene))
    near, far = both[scene.near], both[other(scene.near)]
    off = scene.off_square if np.isfinite(scene.off_square) else 0.0
    clear = (
        _mean(near.clear, far.clear, 0.5 + 0.5 * min(off / NEARER_ALONE, 1.0))
        - np.maximum(0.0, np.nan_to_num(np.abs(near.clear - far.clear)) - ALIKE) / 2
    )
    lowest, lowest_far = (np.nanmin(v, initial=np.inf) for v in (near.clear[scene.key], far.clear[scene.key]))
    side = other(scene.near) if lowest_far < lowest - ALIKE else scene.near
    return Lower(clear, _mean(near.over_foot, far.over_foot), _mean(near.shoulder, far.shoulder), side)


def _mean(a: np.ndarray, b: np.ndarray, share: float = 0.5) -> np.ndarray:
    """(n,) the mean of two, of what is there; share: how much the first counts."""
    return np.where(np.isnan(a), b, np.where(np.isnan(b), a, share * a + (1 - share) * b))


def frame_sd(scene: Scene, side: Side) -> np.ndarray:
    """(n,) % of the shank: what jitter and passes leave open in one frame's clearance."""
    i = INDEX[f"{side}_knee"]
    return 100 * np.hypot(np.nan_to_num(scene.jitter[:, i]), PASSES_SHARE * np.nan_to_num(scene.disagreement[:, i])) / shank_pixels(scene)


def signs_in(scene: Scene) -> Signs | None:
    """What tells whether a knee touched, in the key window; None where the knees were not seen."""
    lower, key = lower_knee(scene), scene.key
    return signs_of(scene.t[key], lower.clear[key], lower.over_foot[key], lower.shoulders[key])


def readings(scene: Scene, table: Table) -> list[Reading]:
    """Knee clearance (never below the floor) and the time a knee rests on it."""
    lower, t = lower_knee(scene), scene.t[scene.key]
    clear = lower.clear[scene.key]
    share = float(np.isfinite(clear).mean()) if len(clear) else 0.0
    problem = problem_of(scene, share, "knees", "way from feet overhead to standing", words.SIDE_VIEW)
    signs = signs_in(scene)
    if not problem and (scene.floor is None or signs is None):
        problem = words.no_floor()
    line = names((lower.side, "hip"), (lower.side, "knee"), (lower.side, "ankle"))
    if problem or signs is None:
        evidence = Evidence(float("nan"), usable=share, line=line, problem=problem)
        return [make_reading(Skill.BACKWARD_ROLL, detail, Side.NONE, evidence, table) for detail in ("knee_clearance", "knee_contact_time")]
    sd = float(frame_sd(scene, lower.side)[scene.key][np.searchsorted(t, signs.at_s)])
    found = Evidence(max(signs.low, 0.0), spread=sd, usable=share, at_s=signs.at_s, line=line, limits=(0.0, np.inf))
    return [
        make_reading(Skill.BACKWARD_ROLL, "knee_clearance", Side.NONE, found, table),
        _contact(signs, t, share, line),
    ]


def _contact(signs: Signs, t: np.ndarray, share: float, line: tuple[str, ...]) -> Reading:
    value, low, high = seconds_on_floor(signs, contact_model(), float(np.median(np.diff(t))))
    return Reading("knee_contact_time", Side.NONE, value, low, high, "s", share, "", signs.at_s, line)
