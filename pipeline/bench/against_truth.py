"""Clips whose joints are known: their tracks as a run has them, and readings set beside the truth. DIR/clips/*.mp4, DIR/truth/<stem>.csv
(joints, frame by frame) and DIR/truth.csv (details) belong together."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.find import find_attempts
from pipeline.bench.in_plane import COLUMN, with_toward
from pipeline.bench.truth_track import truth_track
from pipeline.landmarks.track import Track
from pipeline.measures.learnt import Corrections
from pipeline.measures.measure import measure_attempt
from pipeline.measures.uncertainty import Table
from pipeline.vocabulary import DETAIL, Side, Skill

MATCH_S = 0.7  # an attempt found is one told of if their middles lie within this


def tracks(folder: Path, *, perfect: bool, model: str, cache: Path) -> Iterator[tuple[str, Track]]:
    """(stem, track) of every clip of a folder that has a truth: of who does a skill, as in a run."""
    from pipeline.attempts import whose
    from pipeline.attempts.followed import followed
    from pipeline.clips.content import content_hash
    from pipeline.clips.video import probe
    from pipeline.landmarks.settings import LandmarkSettings

    for file in sorted((folder / "truth").glob("*.csv")):
        clip = _clip(folder, file.stem)
        if clip is None:
            continue
        if perfect:
            video = probe(clip)
            yield file.stem, truth_track(file, (video.width, video.height))
        else:
            track = followed(clip, content_hash(clip), LandmarkSettings(model=model), cache, source=clip.name)
            yield file.stem, whose.athlete(track)


def _clip(folder: Path, stem: str) -> Path | None:
    return next(iter(sorted((folder / "clips").glob(f"{stem}.*"))), None)


def seen_near_by(folder: Path, stem: str, track: Track, found: list[Attempt], *, model: str, cache: Path) -> Track:
    """The track of a clip to measure the attempts found from, its holds as they are seen from near by, as in a run."""
    from pipeline.attempts.held import seen_from_near
    from pipeline.clips.content import content_hash
    from pipeline.landmarks.settings import LandmarkSettings

    clip = _clip(folder, stem)
    return seen_from_near(clip, content_hash(clip), track, found, LandmarkSettings(model=model), cache) if clip else track


def compare(
    stem: str,
    track: Track,
    truth: pd.DataFrame,
    *,
    table: Table | None = None,
    found: list[Attempt] | None = None,
    learnt: Corrections | None = None,
) -> tuple[list[dict], list[dict]]:
    """(rows of readings, rows of attempts) of one clip against its rows of truth.csv. `found`: the attempts, where they are known;
    `learnt`: what is known of the errors at poses, the committed table where none is given."""
    mine_all = find_attempts(track) if found is None else found
    readings, attempts = [], []
    for (skill, start, end), told in truth.groupby(["skill", "start_s", "end_s"]):
        mine = [a for a in mine_all if a.skill == skill and abs((a.start_s + a.end_s - start - end) / 2) < MATCH_S]
        row = {
            "clip": stem, "skill": skill, "true_start_s": start, "true_end_s": end, "found": bool(mine),
            "extra": len(mine_all) > truth.groupby(["skill", "start_s"]).ngroups,
        }  # fmt: skip
        if not mine:
            attempts.append(row)
            readings += [
                {"clip": stem, "skill": skill, "detail": r.detail, "side": r.side, "true": r.value, "reading": np.nan, "low": np.nan, "high": np.nan,
                 "usable": 0.0, "at_s": np.nan, "reason": "attempt not found"} for r in told.itertuples() if _is_read(skill, r.detail, r.side)
            ]  # fmt: skip
            continue
        row |= {"start": mine[0].start_s - start, "end": mine[0].end_s - end, "key_start": mine[0].key_start_s - told.key_start_s.iloc[0],
                "key_end": mine[0].key_end_s - told.key_end_s.iloc[0], "certainty": mine[0].certainty}  # fmt: skip
        attempts.append(row)
        readings += _rows(stem, track, mine[0], told, table, learnt)
    return readings, attempts


def _is_read(skill: str, detail: str, side: str) -> bool:
    """The truth tells of some details on both sides, of which one is read."""
    known = DETAIL.get((Skill(skill), detail))
    return known is not None and known.sided == bool(side)


def _rows(stem: str, track: Track, attempt: Attempt, told: pd.DataFrame, table: Table | None, learnt: Corrections | None) -> list[dict]:
    known = {(r.detail, r.side): r.value for r in told.itertuples()}
    toward = {(r.detail, r.side): getattr(r, COLUMN, np.nan) for r in told.itertuples()}
    lead = Side(next((r.lead_side for r in told.itertuples() if isinstance(r.lead_side, str)), ""))  # the roster's word
    out = []
    for r in measure_attempt(track, attempt, lead_side=lead, table=table, learnt=learnt)[0]:
        true = known.get((r.detail, str(r.side)))
        if true is not None:
            out.append({"clip": stem, "skill": str(attempt.skill), "setting": str(attempt.setting), "detail": r.detail, "side": str(r.side), "true": true, "reading": r.value, "low": r.low,
                        "high": r.high, "usable": r.usable_share, "at_s": r.at_s, "reason": r.reason, COLUMN: toward[r.detail, str(r.side)]})  # fmt: skip
    return out


def read_truth_table(folder: Path) -> pd.DataFrame:
    """truth.csv with the clip's stem as its clip, an empty side where there is none, and how far a cartwheel's knees bend towards the camera."""
    table = pd.read_csv(folder / "truth.csv", dtype={"side": str}).fillna({"side": ""})
    table["clip"] = [Path(str(c)).stem for c in table["clip"]]
    table["side"] = [str(Side(s)) for s in table["side"]]
    return with_toward(table, folder)
