"""Which skills a clip shows, from when to when. Told from the track alone unless the skill is given."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.attempts.arms import lifts
from pipeline.attempts.attempt import Attempt
from pipeline.attempts.candidate import Candidate
from pipeline.attempts.lead import TELLING
from pipeline.attempts.lunges import lunge_candidates
from pipeline.attempts.moments import moments
from pipeline.attempts.rest import hip_height
from pipeline.attempts.signals import Signals, signals
from pipeline.attempts.stepping import with_steps
from pipeline.attempts.upside_down import judge, times_over
from pipeline.landmarks.track import Track
from pipeline.vocabulary import Setting, Side, Skill

CLEAR = 0.5  # a skill counts from this fit on
CLEAR_TOLD = 0.12  # where the coach has said which skill it is
LUNGES = (Skill.LUNGE, Skill.LOADED_LUNGE)
ROUTINE_HOLD_S = 0.33  # in a routine: 0.4 s, less what speeds are read over
POSE_WITHIN_S = 1.5  # the arms' lift into the pose begins this soon after standing
NEXT_LIFT_S = 0.7  # a lift that ends nearer than this to the next skill belongs to that one
OWN_HOLD_S = 0.7  # a lunge held this long counts beside the cartwheel it leads into; a shorter one is the way in


def find_attempts(track: Track, *, told: Skill | None = None, lead_side: Side = Side.NONE) -> list[Attempt]:
    """The attempts in a clip, in time order and numbered from 1; an empty list where none of the skills is clear.

    told: the skill said in clips.csv; only attempts at it are returned, and it may be less clear in the picture.
    lead_side: from the roster; given to attempts at skills that never show it. Where the picture could show it, only the picture's
    word counts, so that roster and picture can be held against each other.
    """
    s = signals(track)
    if s is None:
        return []
    least = CLEAR if told is None else CLEAR_TOLD
    over = [c for c in (judge(s, o, told) for o in times_over(s, told, least)) if c is not None and c.fit >= least]
    lunges = [c for c in lunge_candidates(s, told) if c.fit >= least] if told in (None, *LUNGES) else []
    found = _with_poses(s, with_steps(s, _settle(s, over, lunges)))
    setting = Setting.ROUTINE if len({c.skill for c in found}) > 1 else Setting.ALONE
    return [
        Attempt(
            skill=c.skill, number=i, start_s=float(c.start_s), end_s=float(c.end_s), key_start_s=float(c.key_start_s), key_end_s=float(c.key_end_s),
            direction=c.direction, lead_side=c.lead_side if c.skill in TELLING else lead_side, setting=setting, certainty=float(c.fit), told=told is not None,
            moments=moments(s, c),
        )
        for i, c in enumerate(found, start=1)
    ]  # fmt: skip


def _settle(s: Signals, over: list[Candidate], lunges: list[Candidate]) -> list[Candidate]:
    """All that counts, in time order, without overlaps: a short lunge on the way into or out of another skill is part of it."""
    out = list(over)
    for lunge in lunges:
        held = lunge.key_end_s - lunge.key_start_s
        touching = [c for c in over if lunge.key_start_s < c.end_s and lunge.key_end_s > c.start_s]
        inside = any(lunge.key_start_s < c.key_end_s and lunge.key_end_s > c.key_start_s for c in touching)
        if inside or (touching and held < _own_hold(lunge, over, lunges)):
            continue
        out.append(lunge)
    out.sort(key=lambda c: c.key_start_s)
    for i in range(len(out) - 1):
        a, b = out[i], out[i + 1]
        if a.end_s > b.start_s:
            if a.skill in LUNGES:
                cut = a.key_end_s
            elif b.skill in LUNGES:
                cut = b.key_start_s
            else:
                cut = _tallest(s, a.key_start_s if a.skill is Skill.BACKWARD_ROLL else a.key_end_s, b.key_start_s)
            key_end_s = cut if a.skill is Skill.BACKWARD_ROLL else a.key_end_s  # a roll's key window runs to standing
            out[i], out[i + 1] = replace(a, end_s=max(cut, key_end_s), key_end_s=key_end_s), replace(b, start_s=cut)
    return out


def _own_hold(lunge: Candidate, over: list[Candidate], lunges: list[Candidate]) -> float:
    """Seconds a lunge on the way into another skill must be held to count. In a routine, where lunges are told of by name, or where a
    straight lunge is bent into a loaded one, a hold is meant; beside a single cartwheel a short one is only the way in."""
    routine = len({c.skill for c in over}) > 1 or any(other.skill is not lunge.skill for other in lunges)
    return ROUTINE_HOLD_S if routine else OWN_HOLD_S


def _tallest(s: Signals, start_s: float, end_s: float) -> float:
    """When she stands tallest and stillest between two skills that no rest parts, seconds."""
    here = np.flatnonzero(s.between(start_s, end_s))
    score = hip_height(s)[here] - 0.1 * np.nan_to_num(s.steady[here], nan=5.0)
    if not np.isfinite(score).any():
        return (start_s + end_s) / 2
    return float(s.t[here[int(np.nanargmax(score))]])


def _with_poses(s: Signals, found: list[Candidate]) -> list[Candidate]:
    """Shoulder stands followed by a pose end when the pose is reached: she rises, perhaps turns, and lifts her arms."""
    out = list(found)
    for i, c in enumerate(found):
        if c.skill is not Skill.SHOULDER_STAND:
            continue
        limit = found[i + 1].start_s if i + 1 < len(found) else s.t[-1]
        up = [x for x in lifts(s, c.key_end_s, limit) if c.end_s - 0.5 <= x.start_s <= c.end_s + POSE_WITHIN_S and x.end_s > c.end_s]
        if up and (i + 1 == len(found) or limit - up[0].end_s > NEXT_LIFT_S):
            out[i] = replace(c, end_s=up[0].end_s)
    return out
