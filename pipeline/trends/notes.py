"""A coach's notes on a date: a growth spurt, an injury break, the start of a drill."""

from __future__ import annotations

from enum import StrEnum

import pandas as pd

from pipeline.clips.roster import read_date
from pipeline.errors import MatsideError, shown
from pipeline.store import Store


class NoteKind(StrEnum):
    """What a note is about; `drill` on a cohort lets its effect be looked at."""

    GROWTH = "growth"
    BREAK = "break"
    DRILL = "drill"
    OTHER = "other"


LONGEST = 200  # letters


def add_note(store: Store, about: str, on: str, text: str, *, kind: str = NoteKind.OTHER) -> None:
    """Keep a note about an athlete's code or a cohort's name on a day. Raises MatsideError."""
    about, day = _known(store, about), _day(about, on)
    if kind not in set(NoteKind):
        raise MatsideError(f"Note about {about}: expected the kind {', '.join(NoteKind)}, but got {shown(kind)}.")
    text = " ".join(text.split())
    if not 0 < len(text) <= LONGEST:
        raise MatsideError(f"Note about {about}: expected 1 to {LONGEST} letters, but got {len(text)}. Keep medical matters out of it.")
    store.add_note(about, day, str(kind), text)


def remove_note(store: Store, about: str, on: str, text: str) -> None:
    """Take a note off again, of whatever kind. Raises MatsideError, with the day's notes, where there is none with these words."""
    about, day, text = _known(store, about), _day(about, on), " ".join(text.split())
    notes = store.notes(about)
    notes = notes[notes["date"] == day]
    numbers = [number for number, words in zip(notes["id"], notes["text"], strict=True) if words.lower() == text.lower()]
    if not numbers:
        there = "; ".join(notes["text"]) or "none"
        raise MatsideError(f"Note about {about}: no such note on {day}; there is: {there}. Give its words as they stand there.")
    for number in numbers:
        store.remove_note(int(number))


def _known(store: Store, about: str) -> str:
    """The athlete or cohort as the results spell it."""
    names = sorted({*store.athletes()["athlete"], *store.cohorts()} - {""})
    same = [about] if about in names else [name for name in names if name.upper() == about.upper()]
    if len(same) != 1:
        raise MatsideError(
            f"Note about {shown(about)}: no athlete or cohort of this name has clips here. There are: {', '.join(names) or 'none'}."
        )
    return same[0]


def _day(about: str, on: str) -> str:
    try:
        return read_date(on).isoformat()
    except ValueError as error:
        raise MatsideError(f"Note about {about}: expected a date like 2026-03-02 or 2.3.2026, but got {shown(on)}.") from error


def drill_starts(store: Store) -> pd.DataFrame:
    """When each cohort began each drill, from notes of kind `drill` on cohorts: drill, cohort, date; the first counts."""
    notes = store.notes()
    drills = notes[(notes["kind"] == NoteKind.DRILL) & notes["about"].isin(store.cohorts())]
    starts = drills.rename(columns={"text": "drill", "about": "cohort"})[["drill", "cohort", "date"]]
    return starts.sort_values("date", kind="stable").drop_duplicates(["drill", "cohort"], ignore_index=True)
