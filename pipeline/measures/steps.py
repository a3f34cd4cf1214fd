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
LANDING_S = 0.05  # a foot that is on its way so soon after the landing has not landed yet
NEAR_S = 0.1
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
    """The left foot against the right one after a landing: a phone that pans or shakes moves both alike and does not show."""

    t: np.ndarray  # (n,) seconds
    apart: np.ndarray  # (n, 2, 2) legs from the right to the left foot: heels and toes; x and y
    speed: np.ndarray  # (n,) legs a second, of heels and toes the slower; over about a tenth of a second
    way: np.ndarray  # (n, 2) where the left foot goes against the right one, legs a second


def feet_after(look: Look, start: float) -> Feet:
    """Both feet from `start` on, for as long as a landing may take to come to rest."""
    t, points = look.smooth(FEET, start, start + LONGEST_S, WIDTH_S)
    at = points.reshape(len(t), 2, 2, 2) / leg_pixels(look.scene)
    apart = at[:, 0] - at[:, 1]
    speed, way = np.full(len(t), np.nan), np.full((len(t), 2), np.nan)
    reach = max(1, round(0.05 / float(np.median(np.diff(t))))) if len(t) > 2 else 1
    if len(t) > 2 * reach:
        moved = (apart[2 * reach :] - apart[: -2 * reach]) / (t[2 * reach :] - t[: -2 * reach])[:, None, None]
        speed[reach:-reach] = np.linalg.norm(moved, axis=-1).min(axis=-1)
        way[reach:-reach] = moved.mean(axis=1)
    return Feet(t, apart, speed, way)


def first_rest(t: np.ndarray, speed: np.ndarray, seconds: float) -> float:
    """When `speed` (n,) is first low for so many seconds; NaN where it never is."""
    with np.errstate(invalid="ignore"):
        rest = speed < MOVING
    return next((float(t[a]) for a, b in runs(rest) if t[b] - t[a] >= seconds), float("nan"))


@dataclass(frozen=True)
class Step:
    """One foot on its way while the other stands: seconds, and how far it was set down from where it stood, in legs."""

    start_s: float
    end_s: float
    far: float


def find_steps(feet: Feet, landed: float, until: float) -> list[Step]:
    """Everything between the landing and `until` that might be a step, the smallest ones too, in time order."""
    with np.errstate(invalid="ignore"):
        going = (feet.speed > MOVING) & (feet.t > landed - 0.2) & (feet.t < until)
    out = []
    for first, last in runs(going):
        for a, b in _one_way(feet.way, first, last):
            if feet.t[a] <= landed + LANDING_S or feet.t[b] - feet.t[a] < SHORTEST_S:
                continue
            before, later = _rest(feet, feet.t[a], -1), _rest(feet, feet.t[b], +1)
            far = float(np.linalg.norm(later - before, axis=-1).min())
            if far > HARDLY:
                out.append(Step(float(feet.t[a]), float(feet.t[b]), far))
    return out


def _one_way(way: np.ndarray, first: int, last: int) -> list[tuple[int, int]]:
    """The samples first..last in pieces that go one way each: one foot's step on the heels of the other's goes back against it."""
    pieces, start = [], first
    for i in range(first + 1, last + 1):
        if np.dot(way[i], way[start:i].mean(axis=0)) < 0:
            pieces.append((start, i - 1))
            start = i
    return [*pieces, (start, last)]


def _rest(feet: Feet, when: float, side: int) -> np.ndarray:
    """(2, 2) how heels and toes lie just before (side -1) or after (+1) a moment."""
    near = (side * (feet.t - when) >= -1e-9) & (side * (feet.t - when) < NEAR_S) & np.isfinite(feet.apart).all(axis=(1, 2))
    return np.median(feet.apart[near], axis=0) if near.any() else np.full((2, 2), np.nan)


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
    feet = feet_after(look, start - 2 * WIDTH_S)
    stood = look.attempt.moment("standing_s")
    risen = start if wheel or not np.isfinite(stood) else max(start, stood - STILL_S)  # out of a roll she first has to stand up
    still = first_rest(feet.t, np.where(feet.t < risen, np.nan, feet.speed), STILL_S)
    until = still if np.isfinite(still) else look.attempt.end_s
    during = (feet.t >= start) & (feet.t <= min(until, feet.t[-1] - NEAR_S))
    share = float(np.isfinite(feet.speed[during]).mean()) if during.any() else 1.0
    problem = problem_of(look.scene, share, "feet", "time after the landing", advice)
    if not problem and not np.isfinite(still) and _moves_at(feet, until):
        problem = CUT_OFF
    if problem:
        return [make_count(look, detail, (0, 0, 0), Evidence(float("nan"), usable=share, line=LINE, problem=problem), table)]
    steps = find_steps(feet, start, until)
    counts = _closing(look, start, steps) if wheel else counted(steps)
    at = steps[0].end_s if steps else start
    return [make_count(look, detail, counts, Evidence(float(counts[0]), usable=share, at_s=at, line=LINE), table)]


def _moves_at(feet: Feet, when: float) -> bool:
    """Whether a foot is still on its way just before a moment, or nothing was seen there."""
    last = feet.speed[(feet.t <= when) & np.isfinite(feet.speed)][-2:]
    return len(last) == 0 or bool(np.max(last) > MOVING)


def _closing(look: Look, start: float, steps: list[Step]) -> tuple[int, int, int]:
    """Counts less the one step that closes feet put down apart; where it is open whether they were, both ways are counted."""
    _, ankles = look.smooth(("left_ankle", "right_ankle"), start, start + 0.12, WIDTH_S)
    between = np.linalg.norm(ankles[:, 0] - ankles[:, 1], axis=-1)
    seen = between[np.isfinite(between)]
    apart = float(np.median(seen) / leg_pixels(look.scene)) - HIP_WIDTH if len(seen) else APART  # unseen: it is open
    less = int(apart > APART)
    value, least, most = counted(steps, less)
    if abs(apart - APART) < APART_SD:
        least, most = counted(steps, 1)[1], counted(steps, 0)[2]
    return value, least, most
