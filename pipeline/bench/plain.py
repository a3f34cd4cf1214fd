"""The plain mediapipe video loop on the same clips, to compare with: one person, the wheel's model, nothing of ours between.

Its landmarks are read by the same measures, in the windows where the skill truly was, so that only who was followed and where the
joints were put makes the difference. Nothing is taken off and no interval given: a plain loop knows none.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.bench.follow_check import plain_loop
from pipeline.clips.content import content_hash
from pipeline.landmarks.cache import read_track, write_track
from pipeline.landmarks.track import Track
from pipeline.measures.measure import measure_attempt
from pipeline.measures.uncertainty import Table
from pipeline.vocabulary import Setting, Side, Skill

MODEL = "wheel"


def plain_track(clip: Path, cache: Path) -> Track:
    """The loop's landmarks of a clip, kept in `cache`."""
    file = cache / f"{content_hash(clip)[:32]}_plain.parquet"
    if not file.is_file():
        write_track(plain_loop(clip, MODEL), file)
    return read_track(file, source=clip.name)


def true_attempts(told: pd.DataFrame) -> list[tuple[Attempt, pd.DataFrame]]:
    """The attempts of one clip as they truly were, each with its rows of truth.csv."""
    out = []
    for number, ((skill, start), rows) in enumerate(told.groupby(["skill", "start_s"], sort=False), start=1):
        first = rows.iloc[0]
        lead = Side(first.lead_side) if isinstance(first.lead_side, str) else Side.NONE
        attempt = Attempt(
            Skill(skill), number, float(start), float(first.end_s), float(first.key_start_s), float(first.key_end_s), int(first.direction), lead,
            Setting.ALONE, 1.0, told=True,
        )  # fmt: skip
        out.append((attempt, rows))
    return out


def plain_rows(clip: Path, told: pd.DataFrame, cache: Path, empty: Table) -> list[dict]:
    """One row a reading that the loop's landmarks give: clip, skill, detail, side, true, reading."""
    track, out = plain_track(clip, cache), []
    for attempt, rows in true_attempts(told):
        known = {(r.detail, r.side): r.value for r in rows.itertuples()}
        for r in measure_attempt(track, attempt, table=empty)[0]:
            if (r.detail, str(r.side)) in known:
                row = {"clip": clip.stem, "skill": str(attempt.skill), "detail": r.detail, "side": str(r.side)}
                out.append({**row, "true": known[r.detail, str(r.side)], "reading": r.value})
    return out
