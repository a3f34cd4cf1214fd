"""Folder, roster and clips.csv in; for every clip, who, when and whether it may be opened, out."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from pipeline.clips.clip_list import LEFT_OUT, ClipList, Told, load_clip_list
from pipeline.clips.content import ContentHashes, stamp_of
from pipeline.clips.naming import EARLIEST_YEAR, athlete_in_name, date_in_name, possible
from pipeline.clips.roster import Roster, load_roster
from pipeline.clips.scan import clip_name, find_clips, linked_folders, still_away
from pipeline.errors import MatsideError, one_line, said_of
from pipeline.vocabulary import Setting, Side, Skill

READY, SKIPPED, NEEDS_YOU, FAILED = "ready", "skipped", "needs you", "failed"
ROSTER_NAME = "roster.csv"


@dataclass(frozen=True)
class Clip:
    """One clip with all that is known before it is opened."""

    name: str  # path below the clips folder, forward slashes
    path: Path
    status: str  # READY, or SKIPPED, NEEDS_YOU or FAILED with a reason
    reason: str = ""
    content: str = ""  # hash of the bytes; empty where the clip may not be read
    athlete: str = ""
    cohort: str = ""
    lead_side: Side = Side.NONE
    date: date | None = None
    skill: Skill | None = None
    setting: Setting | None = None
    listed: bool = False  # has a row in clips.csv
    of_two: bool = False  # the same video is there as another athlete's: it may be either's
    stamp: tuple[int, int] | None = None  # bytes and time of change when its content was read


@dataclass(frozen=True)
class Intake:
    """A night's clips and what the tables around them got wrong."""

    clips: list[Clip]
    roster: Roster
    clip_list: ClipList
    notices: tuple[str, ...] = ()

    @property
    def gaps(self) -> list[tuple[str, str, str]]:
        """(clip, athlete, date) of the clips that clips.csv should have a row for; athlete and date are empty where they are what is asked."""
        waiting = [c for c in self.clips if c.status == NEEDS_YOU and not c.listed]
        return [(c.name, "" if c.of_two else c.athlete, c.date.isoformat() if c.date else "") for c in waiting]


def take_in(folder: Path, out: Path, *, roster_path: Path | None = None, today: date, hashes: ContentHashes) -> Intake:
    """Find the clips (those below `out` are not taken) and settle who and when. No clip without consent is read, not even for its hash.

    Raises MatsideError if the folder, the roster or clips.csv cannot be used at all.
    """
    roster_path = roster_path or folder / ROSTER_NAME
    paths = find_clips(folder, leave_out=[out])
    if not roster_path.is_file():
        raise MatsideError(
            f"{roster_path}: no roster. Expected a CSV table with the columns athlete, cohort, lead_side, consent_until: "
            "clips are opened only of athletes on it whose consent lasts."
        )
    roster = load_roster(roster_path)
    clip_list = load_clip_list(folder, out)
    named = [(clip_name(path, folder), path) for path in paths]
    seen = Counter(path.name for path in paths)
    clips = [_settle(name, path, clip_list.find(name, alone=seen[path.name] == 1), roster, today, hashes) for name, path in named]
    away = [clip_name(path, folder) for path in still_away(folder)]
    linked = [clip_name(path, folder) for path in linked_folders(folder, leave_out=[out])]
    notices = (*roster.problems, *clip_list.unknown([*(name for name, _ in named), *away]), *_away(away), *_linked(linked))
    return Intake(_once(clips), roster, clip_list, notices)


def _away(names: list[str]) -> list[str]:
    """One line for the clips that are not on this computer."""
    of = one_line(names[0] if len(names) == 1 else f"{len(names)} clips, first {names[0]}" if names else "")
    return [f"{of}: still in iCloud and not on this computer; download it in the Finder (right click) and run again"] if names else []


def _linked(names: list[str]) -> list[str]:
    """One line for the links to folders elsewhere."""
    if not names:
        return []
    of = f"{names[0]}: a link to a folder elsewhere" if len(names) == 1 else f"{len(names)} links to folders elsewhere, first {names[0]}"
    return [f"{one_line(of)}: not looked into; move the folder itself here, or run it by itself"]


def _settle(name: str, path: Path, told: Told | None, roster: Roster, today: date, hashes: ContentHashes) -> Clip:
    told = told or Told(name)
    clip = Clip(name, path, NEEDS_YOU, skill=told.skill, setting=told.setting, listed=told.row > 0)
    if told.problem:
        return _in_doubt(clip, told, roster, today)
    if told.athlete.lower() == LEFT_OUT:
        return replace(clip, status=SKIPPED, reason=f"left out: {told.file} says skip")
    if told.date and not possible(told.date, today):
        expected = f"expected a day from {EARLIEST_YEAR} on and not years ahead, but came '{told.date}'"
        return _in_doubt(clip, replace(told, problem=f"{told.file}, row {told.row}, column date: {expected}"), roster, today)
    code, named = told.athlete or athlete_in_name(name, roster), date_in_name(name)
    clip = replace(clip, athlete=code, date=told.date or (named if named and possible(named, today) else None))
    where = f"in {told.file}, row {told.row}" if told.row else f"in {told.file}"
    if not code:
        return replace(clip, reason=f"whose clip is it? Fill in athlete {where}")
    if refusal := roster.refusal(code, today):
        return replace(clip, status=SKIPPED, reason=refusal)
    one = roster.find(code)
    assert one is not None
    clip = replace(clip, athlete=one.athlete, cohort=one.cohort, lead_side=one.lead_side)
    try:
        clip = replace(clip, stamp=stamp_of(path), content=hashes.of(name, path))
        if clip.date is None:
            from pipeline.clips.video import recorded_on

            clip = replace(clip, date=recorded_on(path))
    except MatsideError as error:
        return replace(clip, status=FAILED, reason=said_of(path.name, str(error)))
    except OSError as error:
        return replace(clip, status=FAILED, reason=f"cannot be read ({error.strerror}); change its permissions or copy it again")
    if clip.date is None:
        return replace(clip, reason=f"when was it filmed? Fill in date {where}")
    return replace(clip, status=READY)


def _in_doubt(clip: Clip, told: Told, roster: Roster, today: date) -> Clip:
    """A clip whose row is wrong needs the coach; whoever it may be of, without consent nobody looks at it, not even for the question."""
    by_name = athlete_in_name(clip.name, roster)
    codes = told.claimed or ((by_name,) if by_name else ())
    for code in codes:
        if refusal := roster.refusal(code, today):
            return replace(clip, status=SKIPPED, athlete=code if len(codes) == 1 else "", reason=f"{refusal}; {told.problem}")
    one = roster.find(codes[0]) if len(codes) == 1 else None
    return replace(clip, athlete=one.athlete if one else "", cohort=one.cohort if one else "", reason=told.problem)


def _once(clips: list[Clip]) -> list[Clip]:
    """Leave each content ready once: under its first name, and not at all where it is said to be of two athletes: then it is asked for."""
    ready: dict[str, list[Clip]] = {}
    for clip in clips:
        if clip.status == READY:
            ready.setdefault(clip.content, []).append(clip)
    out = []
    for clip in clips:
        same = ready.get(clip.content, [clip]) if clip.status == READY else [clip]
        if other := next((c for c in same if c.athlete != clip.athlete), None):
            reason = (
                f"the same video as {other.name}, but that is said to be of {other.athlete} and this of {clip.athlete}: "
                "expected one athlete a video. Fill in athlete in clips.csv, or skip for one of the two; if both are in it, cut it in two"
            )
            clip = replace(clip, status=NEEDS_YOU, reason=reason, of_two=True)
        elif same[0].name != clip.name:
            clip = replace(clip, status=SKIPPED, reason=f"the same video as {same[0].name}, which is measured once")
        out.append(clip)
    return out
