"""Steps after a landing: how often a foot is lifted and set down elsewhere until she stands still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.attempts.signals import runs
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.look import BOTH, Look, leg_pixels, make_count
from pipeline.measures.reading import Reading
from pipeline.measures.uncertainty import Evidence, Table
from pipeline.vocabulary import Side, Skill

ELSEWHERE = 0.10  # of the leg: a foot set down this far from where it stood has stepped
SURELY, HARDLY = 0.17, 0.07  # of the leg: what is a step beyond doubt, and what cannot be excluded as one
MOVING = 0.35  # legs a second; a standing foot's landmarks jitter less
WIDTH_S = 0.10  # half-width of the look around each moment
SHORTEST_S = 0.08
CARRIES = 0.5  # of a step's time for which the other foot stands
LANDED_S = 0.10  # a foot at rest for so long has landed
STILL_S = 0.50  # both feet at rest for so long: she stands
LONGEST_S = 4.0
APART = 0.25  # of the leg: feet further apart than the hips are wide by this want a step to close them
APART_SD = 0.08
HIP_WIDTH = 0.25  # of the leg
ENDS = ("heel", "foot_index")  # a step moves both; a heel that sinks or a foot that turns on the spot moves one
FEET = tuple(f"{side}_{end}" for side in BOTH for end in ENDS)
LINE = names((Side.LEFT, "heel"), (Side.LEFT, "foot_index"))
NOT_LANDED = "It could not be seen when the feet landed. Keep the feet and the mat in the picture until she stands still."
CUT_OFF = "The clip ends too soon after the landing to count steps. Film until she has stood still for a second."


@dataclass(frozen=True)
class Feet:
    """Where heel and toes of either foot are after a landing. Places in legs, speeds in legs a second."""

    t: np.ndarray  # (n,) seconds
    at: np.ndarray  # (n, 2, 2, 2) left and right; heel and toes; x and y
    speed: np.ndarray  # (n, 2) of each foot's heel and toes the slower, over about a tenth of a second


def feet_after(look: Look, start: float) -> Feet:
    """Both feet from `start` on, for as long as a landing may take to come to rest."""
    t, points = look.smooth(FEET, start, start + LONGEST_S, WIDTH_S)
    at = points.reshape(len(t), 2, 2, 2) / leg_pixels(look.scene)
    speed = np.full((len(t), 2), np.nan)
    if len(t) > 2:
        reach = max(1, round(0.05 / float(np.median(np.diff(t)))))
        if len(t) > 2 * reach:
            moved = np.linalg.norm(at[2 * reach :] - at[: -2 * reach], axis=-1).min(axis=-1)
            speed[reach:-reach] = moved / (t[2 * reach :] - t[: -2 * reach])[:, None]
    return Feet(t, at, speed)


def first_rest(t: np.ndarray, speed: np.ndarray, seconds: float) -> float:
    """When `speed` (n,) is first low for so many seconds; NaN where it never is."""
    with np.errstate(invalid="ignore"):
        rest = speed < MOVING
    return next((float(t[a]) for a, b in runs(rest) if t[b] - t[a] >= seconds), float("nan"))


@dataclass(frozen=True)
class Step:
    """One foot on its way: seconds, and how far it was set down from where it stood, in legs."""

    side: Side
    start_s: float
    end_s: float
    far: float


def find_steps(feet: Feet, landed: tuple[float, float], until: float) -> list[Step]:
    """Everything between each foot's landing and `until` that might be a step, the smallest ones too, in time order."""
    out = []
    for k, side in enumerate(BOTH):
        with np.errstate(invalid="ignore"):
            going = (feet.speed[:, k] > MOVING) & (feet.t > landed[k]) & (feet.t < until)
        for a, b in runs(going):
            if feet.t[b] - feet.t[a] < SHORTEST_S:
                continue
            before, later = _rest(feet.t, feet.at[:, k], feet.t[a], -1), _rest(feet.t, feet.at[:, k], feet.t[b], +1)
            far = float(np.linalg.norm(later - before, axis=-1).min())
            if far > HARDLY and _stands(feet, 1 - k, a, b):
                out.append(Step(side, float(feet.t[a]), float(feet.t[b]), far))
    return sorted(out, key=lambda s: s.start_s)


def _stands(feet: Feet, foot: int, a: int, b: int) -> bool:
    """Whether this foot carries her for most of the samples a..b: feet that move together slide or are still landing."""
    with np.errstate(invalid="ignore"):
        return bool(np.mean(feet.speed[a : b + 1, foot] < MOVING) > CARRIES)


def _rest(t: np.ndarray, at: np.ndarray, when: float, way: int) -> np.ndarray:
    """(2, 2) where a foot's heel and toes stand just before (way -1) or after (+1) a moment."""
    near = (way * (t - when) >= -1e-9) & (way * (t - when) < 0.1) & np.isfinite(at).all(axis=(1, 2))
    return np.median(at[near], axis=0) if near.any() else np.full((2, 2), np.nan)


def counted(steps: list[Step], less: int = 0) -> tuple[int, int, int]:
    """(likeliest, least, most) steps, `less` of them allowed."""
    value, least, most = (sum(s.far > far for s in steps) for far in (ELSEWHERE, SURELY, HARDLY))
    return max(value - less, 0), max(least - less, 0), max(most - less, 0)


def readings(look: Look, table: Table) -> list[Reading]:
    """The steps too many after a cartwheel or a backward roll."""
    wheel = look.attempt.skill is Skill.CARTWHEEL
    detail, advice = ("step_together", words.FRONT_VIEW) if wheel else ("extra_steps", words.SIDE_VIEW)
    start = look.attempt.moment("foot2_s" if wheel else "feet_s")
    problem = problem_of(look.scene, 1.0, "", "", advice) or ("" if np.isfinite(start) else NOT_LANDED)
    if problem:
        return [make_count(look, detail, (0, 0, 0), Evidence(float("nan"), line=LINE, problem=problem), table)]
    feet = feet_after(look, start - WIDTH_S)
    landed = tuple(first_rest(feet.t, np.where(feet.t < start, np.nan, feet.speed[:, k]), LANDED_S) for k in (0, 1))
    both = float(np.max(landed))
    still = first_rest(feet.t, np.where(feet.t < both, np.nan, feet.speed.max(axis=1)), STILL_S)
    until = still if np.isfinite(still) else look.attempt.end_s
    during = (feet.t >= start) & (feet.t <= until)
    share = float(np.isfinite(feet.speed[during]).all(axis=1).mean()) if during.any() else 0.0
    problem = problem_of(look.scene, share, "feet", "time after the landing", advice)
    if not problem and not np.isfinite(both):
        problem = NOT_LANDED
    if not problem and not np.isfinite(still) and _moves_at(feet, until):
        problem = CUT_OFF
    if problem:
        return [make_count(look, detail, (0, 0, 0), Evidence(float("nan"), usable=share, line=LINE, problem=problem), table)]
    steps = find_steps(feet, (landed[0], landed[1]), until)
    counts = _closing(look, feet, both, steps) if wheel else counted(steps)
    at = steps[0].end_s if steps else both
    return [make_count(look, detail, counts, Evidence(float(counts[0]), usable=share, at_s=at, line=LINE), table)]


def _moves_at(feet: Feet, when: float) -> bool:
    """Whether a foot is still on its way just before a moment, or nothing was seen there."""
    last = feet.speed[(feet.t <= when) & np.isfinite(feet.speed).all(axis=1)][-2:]
    return len(last) == 0 or bool(np.max(last) > MOVING)


def _closing(look: Look, feet: Feet, both: float, steps: list[Step]) -> tuple[int, int, int]:
    """Counts less the one step that closes feet put down apart; where it is open whether they were, both ways are counted."""
    near = (feet.t >= both - 0.02) & (feet.t <= both + 0.12)
    _, ankles = look.smooth(("left_ankle", "right_ankle"), feet.t[near][0], feet.t[near][-1], WIDTH_S)
    apart = float(np.nanmedian(np.linalg.norm(ankles[:, 0] - ankles[:, 1], axis=-1)) / leg_pixels(look.scene)) - HIP_WIDTH
    less = int(apart > APART)
    value, least, most = counted(steps, less)
    if abs(apart - APART) < APART_SD:
        least, most = counted(steps, 1)[1], counted(steps, 0)[2]
    return value, least, most
