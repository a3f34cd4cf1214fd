"""Which of the four skills a clip shows, from when to when. Told from the track alone unless the skill is given."""

from __future__ import annotations

from dataclasses import replace

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.candidate import Candidate
from pipeline.attempts.lunges import lunge_candidates
from pipeline.attempts.signals import signals
from pipeline.attempts.upside_down import judge, times_over
from pipeline.landmarks.track import Track
from pipeline.vocabulary import Setting, Side, Skill

CLEAR = 0.5  # a skill counts from this fit on
CLEAR_TOLD = 0.12  # where the coach has said which skill it is
LUNGES = (Skill.LUNGE, Skill.LOADED_LUNGE)
OWN_HOLD_S = 0.7  # a lunge held this long counts beside the cartwheel it leads into; a shorter one is the way in


def find_attempts(track: Track, *, told: Skill | None = None, lead_side: Side = Side.NONE) -> list[Attempt]:
    """The attempts in a clip, in time order and numbered from 1; an empty list where none of the skills is clear.

    told: the skill said in clips.csv; only attempts at it are returned, and it may be less clear in the picture.
    lead_side: from the roster; used where the picture does not tell it.
    """
    s = signals(track)
    if s is None:
        return []
    least = CLEAR if told is None else CLEAR_TOLD
    over = [c for c in (judge(s, o, told) for o in times_over(s)) if c is not None and c.fit >= least]
    lunges = [c for c in lunge_candidates(s, told) if c.fit >= least] if told in (None, *LUNGES) else []
    found = _settle(over, lunges)
    setting = Setting.ROUTINE if len({c.skill for c in found}) > 1 else Setting.ALONE
    return [
        Attempt(
            skill=c.skill, number=i, start_s=float(c.start_s), end_s=float(c.end_s), key_start_s=float(c.key_start_s), key_end_s=float(c.key_end_s),
            direction=c.direction, lead_side=c.lead_side or lead_side, setting=setting, certainty=float(c.fit), told=told is not None,
        )
        for i, c in enumerate(found, start=1)
    ]  # fmt: skip


def _settle(over: list[Candidate], lunges: list[Candidate]) -> list[Candidate]:
    """All that counts, in time order, without overlaps: a short lunge on the way into or out of another skill is part of it."""
    out = list(over)
    for lunge in lunges:
        held = lunge.key_end_s - lunge.key_start_s
        touching = [c for c in over if lunge.key_start_s < c.end_s and lunge.key_end_s > c.start_s]
        inside = any(lunge.key_start_s < c.key_end_s and lunge.key_end_s > c.key_start_s for c in touching)
        if inside or (touching and held < OWN_HOLD_S):
            continue
        out.append(lunge)
    out.sort(key=lambda c: c.key_start_s)
    for i in range(len(out) - 1):
        a, b = out[i], out[i + 1]
        if a.end_s > b.start_s:
            if a.skill is Skill.LUNGE:
                cut = a.key_end_s
            elif b.skill is Skill.LUNGE:
                cut = b.key_start_s
            else:
                cut = min(max((a.end_s + b.start_s) / 2, a.key_end_s), b.key_start_s)
            out[i], out[i + 1] = replace(a, end_s=max(cut, a.key_end_s)), replace(b, start_s=cut)
    return out
