"""The shoulder stand's legs side by side, and the rise to standing: without hands, and finished to the lead side. Seen from the side."""

from __future__ import annotations

import numpy as np

from pipeline.attempts.signals import runs
from pipeline.geometry import joint_angle
from pipeline.landmarks.track import INDEX
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.look import BOTH, Look, make_count, turned_to
from pipeline.measures.reading import Reading
from pipeline.measures.uncertainty import PASSES_SHARE, Evidence, Table, make_reading, spread_of_median
from pipeline.vocabulary import Side, Skill

SCISSORED = (
    9.0  # degrees between the legs in the picture that are more than misplaced joints (95 % of stands with the legs together read less)
)
UNSEEN = 4.0  # degrees; what is apart towards the camera comes on top, and is not seen
TOUCHES, SURELY, HARDLY = 0.13, 0.07, 0.24  # trunks a hand's lowest point lies above the floor: on it, surely, not to be excluded
TOUCH_S = 0.06
SOLE = 0.03  # trunks that a resting foot's heel or toes lie above the floor
FOOT = ("heel", "foot_index")
HAND = ("wrist", "index", "pinky", "thumb")
LINES = ("shoulder", "hip", "knee")  # from side to side: which way they face, she does
RISE_S = 0.25  # about the moments at which the way she faces, before and at the end, is looked at, either way
TURN_S = 0.9  # a quarter turn that begins when she has risen is over by then
SAME_WAY = 25.0  # degrees between two looks at the way she stands at the end, less than which she has not turned on
SAME_SPOT = 0.6  # trunks
UNCLEAR = 60.0  # degrees of doubt beyond which a turn is not read

LEGS = names((Side.LEFT, "ankle"), (Side.LEFT, "hip"), (Side.RIGHT, "hip"), (Side.RIGHT, "ankle"))
HANDS = names((Side.LEFT, "wrist"), (Side.RIGHT, "wrist"))
SHOULDERS = names((Side.LEFT, "shoulder"), (Side.RIGHT, "shoulder"))
ONE_BEHIND = (
    "Seen from the side one leg hides the other, so whether they are together cannot be told. Film one hold from her head or her feet."
)
NO_RISE = "The attempt was not followed to a stand, so there is no rise to look at. Film until she stands still."
NO_LEAD = "Whose side is the right one to finish on is not known: give her lead side in the roster."


def readings(look: Look, table: Table) -> list[Reading]:
    """Legs together, hands used to rise, the side she finishes on."""
    return [
        make_reading(Skill.SHOULDER_STAND, "legs_together", Side.NONE, _legs(look), table),
        _hands(look, table),
        make_reading(Skill.SHOULDER_STAND, "finish_side", Side.NONE, _finish(look), table),
    ]


def _legs(look: Look) -> Evidence:
    """The angle seen in the picture, where there plainly is one. Legs apart towards the camera look together, and the landmarks' depth
    does not tell them apart (on 48 rendered stands it reads 0 ± 2.5 degrees, whether they are 1 or 18 apart)."""
    s = look.scene
    left, right = (s.p(side, "ankle") - s.p(side, "hip") for side in BOTH)
    seen = joint_angle(left, np.zeros_like(left), right)[s.key]
    ok = np.isfinite(seen)
    share = float(ok.mean()) if len(ok) else 0.0
    problem = problem_of(s, share, "legs", "hold", words.SIDE_VIEW)
    if problem or not ok.any():
        return Evidence(float("nan"), usable=share, line=LEGS, problem=problem)
    value = float(np.median(seen[ok]))
    if value < SCISSORED:
        return Evidence(float("nan"), usable=share, line=LEGS, problem=ONE_BEHIND)
    at = float(s.t[s.key][ok][np.argmin(np.abs(seen[ok] - value))])
    long = float(np.nanmedian(np.linalg.norm(left, axis=-1)[s.key]))
    parts = [(side, part) for side in BOTH for part in ("hip", "ankle")]
    passes = float(np.degrees(PASSES_SHARE / np.sqrt(2) * np.sqrt(np.sum(np.nanmedian(s.noise(*parts)[s.key], axis=0) ** 2)) / long))
    return Evidence(
        value,
        spread=spread_of_median(seen, s.t[s.key]),
        view=UNSEEN,
        passes=passes,
        usable=share,
        at_s=at,
        line=LEGS,
        limits=(0.0, 180.0),
    )


def lowest_hands(look: Look, during: np.ndarray) -> np.ndarray:
    """(n, 2) trunks that the lowest point of each hand lies above the floor on its side, where that side's foot stands meanwhile."""
    s = look.scene
    out = []
    for side in BOTH:
        hand, foot = (np.min([s.height[:, INDEX[f"{side}_{part}"]] for part in parts], axis=0) for parts in (HAND, FOOT))
        sole = np.nanmedian(foot[during]) if np.isfinite(foot[during]).any() else 0.0
        out.append((hand - sole) / s.unit + SOLE)
    return np.stack(out, axis=1)


def _hands(look: Look, table: Table) -> Reading:
    s, a = look.scene, look.attempt
    start, end = a.moment("feet_s"), a.moment("standing_s")
    end = end if np.isfinite(end) or not np.isfinite(a.moment("rise_s")) else a.end_s
    during = look.between(start, end)
    heights, t = lowest_hands(look, during)[during], s.t[during]
    share = float(np.isfinite(heights).all(axis=1).mean()) if len(heights) else 0.0
    seen = share if np.isfinite(end - start) else 1.0
    problem = problem_of(s, seen, "hands", "way up to standing", words.SIDE_VIEW) or ("" if np.isfinite(end - start) else NO_RISE)
    if not problem and s.floor is None:
        problem = words.no_floor()
    if problem:
        return make_count(look, "rise_hands_used", (0, 0, 0), Evidence(float("nan"), usable=share, line=HANDS, problem=problem), table)
    counts = tuple(sum(_stays_below(t, heights[:, k], level) for k in (0, 1)) for level in (TOUCHES, SURELY, HARDLY))
    at = float(t[np.argmin(np.nan_to_num(heights, nan=np.inf).min(axis=1))])
    evidence = Evidence(float(counts[0]), usable=share, at_s=at, line=HANDS, limits=(0.0, 2.0))
    return make_count(look, "rise_hands_used", (counts[0], min(counts), max(counts)), evidence, table)


def _stays_below(t: np.ndarray, height: np.ndarray, level: float) -> bool:
    with np.errstate(invalid="ignore"):
        below = height < level
    return any(t[b] - t[a] >= TOUCH_S for a, b in runs(below))


def _finish(look: Look) -> Evidence:
    """The turn from the way she stood before to the way she stands at the end. She rises the way she rolled down; a squat's own lines
    are too short to tell (on followed clips the stand before errs by 6 degrees, the squat by 19)."""
    a = look.attempt
    rose, stood = a.moment("feet_s"), a.moment("finish_s")
    stood = stood if np.isfinite(stood) or not np.isfinite(a.moment("rise_s")) else a.end_s
    seen = np.isfinite(look.scene.p(Side.LEFT, "shoulder")[look.between(stood - RISE_S, stood + RISE_S), 0])
    share = float(seen.mean()) if len(seen) else 0.0
    enough = share if np.isfinite(stood - rose) else 1.0
    problem = problem_of(look.scene, enough, "shoulders", "end", words.SIDE_VIEW) or ("" if np.isfinite(stood - rose) else NO_RISE)
    if not problem and not look.lead:
        problem = NO_LEAD
    if problem:
        return Evidence(float("nan"), usable=share, line=SHOULDERS, problem=problem)
    first, first_sd = turned_to(look, a.start_s - RISE_S, a.start_s + RISE_S, parts=LINES)
    last, last_sd = turned_to(look, stood - RISE_S, stood + RISE_S, parts=LINES)
    if _still_there(look, stood, stood + TURN_S):  # a turn on the spot that follows belongs to the finish
        late, late_sd = turned_to(look, stood + TURN_S - RISE_S, stood + TURN_S + RISE_S, parts=LINES)
        further = _wrapped(late - last)
        if abs(further) < SAME_WAY:  # she does not turn any more: two looks at one way
            last, last_sd = last + further / 2, (last_sd + late_sd) / 2
        elif np.isfinite(late):
            last, last_sd = late, late_sd
    sideways = 0.0 if a.direction > 0 else 180.0
    if not np.isfinite(first) or first_sd > 25 or abs(_wrapped(first - sideways)) > 40:
        first, first_sd = sideways, 12.0
    sd = float(np.hypot(first_sd, last_sd))
    if not np.isfinite(last) or sd > UNCLEAR:
        return Evidence(float("nan"), usable=share, line=SHOULDERS, problem=words.not_seen("shoulders", share, "end", words.SIDE_VIEW))
    turned = _wrapped(last - first)
    turned = turned if look.lead is Side.LEFT else -turned
    return Evidence(turned, spread=sd, usable=share, at_s=stood, line=SHOULDERS)


def _still_there(look: Look, start: float, end: float) -> bool:
    """Whether she stands on the same spot at both moments, and the clip shows it."""
    i = np.searchsorted(look.track.t, [start, end])
    if i[1] >= len(look.track.t):
        return False
    hips = look.track.xy[i][:, [INDEX["left_hip"], INDEX["right_hip"]]].mean(axis=1)
    return bool(np.linalg.norm(hips[1] - hips[0]) < SAME_SPOT * look.scene.unit)


def _wrapped(degrees: float) -> float:
    return float((degrees + 180.0) % 360.0 - 180.0)
