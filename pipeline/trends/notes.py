"""A coach's notes on a date: a growth spurt, an injury break, the start of a drill."""

from __future__ import annotations

from datetime import date
from enum import StrEnum

import pandas as pd

from pipeline.errors import MatsideError
from pipeline.store import Store


class NoteKind(StrEnum):
    """What a note is about; `drill` on a cohort lets its effect be looked at."""

    GROWTH = "growth"
    BREAK = "break"
    DRILL = "drill"
    OTHER = "other"


LONGEST = 200  # letters


def add_note(store: Store, about: str, on: str, text: str, *, kind: str = NoteKind.OTHER) -> None:
    """Keep a note about an athlete's code or a cohort's name on an ISO date. Raises MatsideError."""
    try:
        day = date.fromisoformat(on)
    except ValueError as error:
        raise MatsideError(f"Note about {about}: expected a date like 2026-03-02, but got {on!r}.") from error
    if kind not in set(NoteKind):
        raise MatsideError(f"Note about {about}: expected the kind {', '.join(NoteKind)}, but got {kind!r}.")
    text = " ".join(text.split())
    if not 0 < len(text) <= LONGEST:
        raise MatsideError(f"Note about {about}: expected 1 to {LONGEST} letters, but got {len(text)}. Keep medical matters out of it.")
    if about not in {*store.athletes()["athlete"], *store.cohorts()} - {""}:
        raise MatsideError(
            f"Note about {about}: no athlete or cohort of this name has clips here. Check the spelling; it matters in capitals too."
        )
    store.add_note(about, day.isoformat(), str(kind), text)


def drill_starts(store: Store) -> pd.DataFrame:
    """When each cohort began each drill, from notes of kind `drill` on cohorts: drill, cohort, date; the first counts."""
    notes = store.notes()
    drills = notes[(notes["kind"] == NoteKind.DRILL) & notes["about"].isin(store.cohorts())]
    starts = drills.rename(columns={"text": "drill", "about": "cohort"})[["drill", "cohort", "date"]]
    return starts.sort_values("date", kind="stable").drop_duplicates(["drill", "cohort"], ignore_index=True)
