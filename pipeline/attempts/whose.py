"""Whose attempts count: where more than one person may be the athlete, the one who does a skill.

How much somebody moves is known while following; what it was that she did, only here. A spotter who kneels and reaches, or a child who
walks through, may move as much as a child in a lunge, but does no skill. Of two children who both do one it is the one filmed: she is near
and in the middle of the picture. Unless the other one is in the background, the choice stays open, and so it does for two tracks that
lie on one body for a while: there either may have limbs of the other. Who does hers in a mirror is nobody else.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.attempts import find
from pipeline.attempts.reflection import SMALLER, mirrored, reflection
from pipeline.attempts.rejoin import SAME_PLACE, rejoined
from pipeline.attempts.signals import trunk_length
from pipeline.landmarks.choose import held_on, open_choice, settled_notes
from pipeline.landmarks.paths import CORE
from pipeline.landmarks.track import Track
from pipeline.vocabulary import Skill

ENTANGLED = 0.1  # share of the frames in which two tracks lie on one body; of two people beside each other at most 0.04 (22 drawn clips)
TO_A_SIDE = 0.15  # of the picture's width further from its middle, and clearly smaller: the phone is not held on this one


def athlete(track: Track, *, told: Skill | None = None) -> Track:
    """The track of who does a skill, `told` where it was told, and of nobody else; with parts of hers that were followed as another's.

    Where exactly one of those who may be the athlete does, the choice is settled, whoever moved most, and no note calls it open; a
    reflection that does the same beside her is not counted. Where several do and it was open, she is the one filmed, and it is settled if
    the others are in the background. Where nobody does, or her track is entangled with another's, or is the reflection of somebody of
    whom less was seen, it is left as it came: the one who moved most, with the note if there was one. So it is where nothing was told and
    one moved far more than all others, but does no skill, unless the only one who does is filmed as much: what little somebody else did
    may only look like a skill.
    """
    if not track.others:
        return track
    whole = rejoined(track)
    people = (replace(whole, others=()), *whole.others)
    did = [find.find_attempts(one, told=told) for one in people]
    fits = [max((a.certainty for a in attempts), default=0.0) for attempts in did]
    clear = [fit >= find.CLEAR for fit in fits]  # where the skill was told, less counts too, but only beside nobody who does it clearly
    does = [i for i, counts in enumerate(clear if any(clear) else [fit > 0 for fit in fits]) if counts]
    doing = [i for i in does if not any(reflection(people[i], people[k], did[i], did[k]) for k in does if k != i)]
    is_open = open_choice(track.notes)
    if not doing or (not is_open and (0 in doing or len(doing) > 1)):
        return people[0]
    much = [filmed(people[i]) for i in doing]
    first = doing[int(np.argmax(much))]
    hers = people[first]
    if any(entangled(hers, one) or mirrored(hers, one, did[first]) for one in people if one is not hers):
        return people[0]
    if first and told is None and not is_open and filmed(hers) < filmed(people[0]):
        return people[0]
    settled = all(_in_the_background(people[i], hers) for i in doing if i != first)
    return replace(hers, notes=settled_notes(track.notes) if settled else track.notes)


def filmed(track: Track) -> float:
    """How much the phone is held on somebody: the trunk's length in pixels, less the farther from the picture's middle to a side, and the
    less of the clip is seen of this one."""
    return trunk_length(track) * held_on(_aside(track)) * float(track.seen.mean()) if track.seen.any() else 0.0


def _aside(track: Track) -> float:
    """Picture widths from the picture's middle to where the hips mostly are."""
    hips = track.xy[track.seen][:, CORE[2:], 0].mean(axis=1)
    return float(np.nanmedian(np.abs(hips / track.size[0] - 0.5)))


def _in_the_background(other: Track, hers: Track) -> bool:
    """Whether another one is clearly smaller, and to a side: two children in the middle one behind the other may both be meant."""
    return trunk_length(other) < SMALLER * trunk_length(hers) and _aside(other) > _aside(hers) + TO_A_SIDE


def entangled(one: Track, other: Track) -> bool:
    """Whether shoulders and hips of two tracks lie in the same place in more than a chance frame."""
    apart = np.linalg.norm(one.xy[:, CORE] - other.xy[:, CORE], axis=-1).mean(axis=-1) / trunk_length(one)
    with np.errstate(invalid="ignore"):
        return bool((apart < SAME_PLACE).sum() > ENTANGLED * one.seen.sum())
