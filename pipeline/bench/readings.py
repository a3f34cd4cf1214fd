"""How right readings are, on clips whose joints are known:

    python -m pipeline.bench readings                         sample_data, followed as a run does
    python -m pipeline.bench readings --perfect               the same measures on the true joints: their own share of the error
    python -m pipeline.bench readings DIR --model tuned --out rows.csv

DIR holds clips/*.mp4, truth/<stem>.csv and truth.csv. Prints one row a clip, detail and side, then one a detail:
bias, mean absolute error, 95th percentile, share without a reading, share of intervals that hold the truth.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.find import find_attempts
from pipeline.bench.truth_track import truth_track
from pipeline.landmarks.track import Track
from pipeline.measures.measure import measure_attempt
from pipeline.measures.uncertainty import Table
from pipeline.vocabulary import DETAIL, Side, Skill, Verdict

MATCH_S = 0.7  # an attempt found is one told of if their middles lie within this
BOUNDARY_S = 0.15


def tracks(folder: Path, *, perfect: bool, model: str, cache: Path) -> Iterator[tuple[str, Track]]:
    """(stem, track) of every clip of a folder that has a truth."""
    from pipeline.clips.content import content_hash
    from pipeline.clips.video import probe
    from pipeline.landmarks.cache import cached_track
    from pipeline.landmarks.settings import LandmarkSettings

    for file in sorted((folder / "truth").glob("*.csv")):
        clip = next(iter(sorted((folder / "clips").glob(f"{file.stem}.*"))), None)
        if clip is None:
            continue
        if perfect:
            video = probe(clip)
            yield file.stem, truth_track(file, (video.width, video.height))
        else:
            yield file.stem, cached_track(clip, content_hash(clip), LandmarkSettings(model=model), cache, source=clip.name)


def compare(stem: str, track: Track, truth: pd.DataFrame, *, table: Table | None = None) -> tuple[list[dict], list[dict]]:
    """(rows of readings, rows of attempts) of one clip against its rows of truth.csv."""
    found = find_attempts(track)
    readings, attempts = [], []
    for (skill, start, end), told in truth.groupby(["skill", "start_s", "end_s"]):
        mine = [a for a in found if a.skill == skill and abs((a.start_s + a.end_s - start - end) / 2) < MATCH_S]
        row = {"clip": stem, "skill": skill, "found": bool(mine), "extra": len(found) > truth.groupby(["skill", "start_s"]).ngroups}
        if not mine:
            attempts.append(row)
            readings += [
                {"clip": stem, "skill": skill, "detail": r.detail, "side": r.side, "true": r.value, "reading": np.nan, "low": np.nan, "high": np.nan,
                 "usable": 0.0, "reason": "attempt not found"} for r in told.itertuples() if DETAIL[(Skill(skill), r.detail)].sided == bool(r.side)
            ]  # fmt: skip
            continue
        row |= {"start": mine[0].start_s - start, "end": mine[0].end_s - end, "key_start": mine[0].key_start_s - told.key_start_s.iloc[0],
                "key_end": mine[0].key_end_s - told.key_end_s.iloc[0], "certainty": mine[0].certainty}  # fmt: skip
        attempts.append(row)
        readings += _rows(stem, track, mine[0], told, table)
    return readings, attempts


def _rows(stem: str, track: Track, attempt: Attempt, told: pd.DataFrame, table: Table | None) -> list[dict]:
    known = {(r.detail, r.side): r.value for r in told.itertuples()}
    out = []
    for r in measure_attempt(track, attempt, table=table)[0]:
        true = known.get((r.detail, str(r.side)))
        if true is not None:
            out.append({"clip": stem, "skill": str(attempt.skill), "detail": r.detail, "side": str(r.side), "true": true, "reading": r.value, "low": r.low,
                        "high": r.high, "usable": r.usable_share, "reason": r.reason})  # fmt: skip
    return out


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """One row a skill and detail."""
    out = []
    for (skill, detail), part in rows.groupby(["skill", "detail"]):
        error = (part.reading - part.true).dropna()
        inside = (part.low <= part.true + 1e-9) & (part.true <= part.high + 1e-9)
        out.append(
            {"skill": skill, "detail": detail, "n": len(part), "cannot_tell": part.reading.isna().mean(), "bias": error.mean(), "MAE": error.abs().mean(),
             "p95": error.abs().quantile(0.95), "worst": error.abs().max(), "covered": inside[part.reading.notna()].mean(),
             "half_width": ((part.high - part.low) / 2).mean()}
        )  # fmt: skip
    return pd.DataFrame(out)


def read_truth_table(folder: Path) -> pd.DataFrame:
    """truth.csv with the clip's stem as its clip and an empty side where there is none."""
    table = pd.read_csv(folder / "truth.csv", dtype={"side": str}).fillna({"side": ""})
    table["clip"] = [Path(str(c)).stem for c in table["clip"]]
    table["side"] = [str(Side(s)) for s in table["side"]]
    return table


def sure_and_wrong(rows: pd.DataFrame) -> tuple[int, int]:
    """(readings that say met where the truth is not yet or the reverse, readings that say met or not yet), by the beginners' tolerances."""
    from pipeline.scoring.tolerances import load_tolerances
    from pipeline.scoring.verdicts import score

    known = rows.assign(value=rows.reading, usable_share=rows.usable, verdict="", reason=rows.reason.fillna(""))
    truth = rows.assign(value=rows.true, low=rows.true, high=rows.true, usable_share=1.0, verdict="", reason="")
    said, true = (score(table, load_tolerances()).verdict.to_numpy() for table in (known, truth))
    sure = np.isin(said, [Verdict.MET, Verdict.NOT_YET])
    return int((sure & np.isin(true, [Verdict.MET, Verdict.NOT_YET]) & (said != true)).sum()), int(sure.sum())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, default=Path("sample_data"))
    parser.add_argument("--perfect", action="store_true", help="measure on the true joints")
    parser.add_argument("--model", default="tuned", help="landmark model: wheel, tuned or a file")
    parser.add_argument("--cache", type=Path, default=Path("build/bench-tracks"), help="where tracks are kept")
    parser.add_argument("--out", type=Path, help="write the rows as CSV")
    parser.add_argument("--quiet", action="store_true", help="only the summary")
    args = parser.parse_args()
    truth = read_truth_table(args.folder)
    rows, attempts = [], []
    for stem, track in tracks(args.folder, perfect=args.perfect, model=args.model, cache=args.cache):
        told = truth[truth["clip"] == stem]
        if len(told):
            r, a = compare(stem, track, told)
            rows += r
            attempts += a
    table, gone = pd.DataFrame(rows), pd.DataFrame(attempts)
    if table.empty:
        print(f"{args.folder}: no clip with a truth was found.")
        return 1
    table["inside"] = (table.low <= table.true + 1e-9) & (table.true <= table.high + 1e-9)
    if args.out:
        table.to_csv(args.out, index=False)
    with pd.option_context(
        "display.width", 200, "display.max_rows", None, "display.max_columns", None, "display.max_colwidth", 60, "display.precision", 2
    ):
        if not args.quiet:
            print(table.to_string(index=False))
            print(gone.to_string(index=False))
        print(summary(table).to_string(index=False))
        wrong, sure = sure_and_wrong(table)
        print(f"of {len(table)} readings {sure} say met or not yet, {wrong} of them where the truth is the reverse")
        if "start" in gone:
            near = (gone[["start", "end"]].abs() <= BOUNDARY_S).mean()
            print(
                f"attempts found {gone.found.mean():.3f}; within {BOUNDARY_S} s: start {near.start:.3f}, end {near.end:.3f}; extra {int(gone.extra.sum())}"
            )
    return 0
