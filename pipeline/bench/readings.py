"""How right readings are, on clips whose joints are known:

    python -m pipeline.bench readings                         sample_data, followed as a run does
    python -m pipeline.bench readings --perfect               the same measures on the true joints: their own share of the error
    python -m pipeline.bench readings DIR --model tuned --out rows.csv

    python -m pipeline.bench readings DIR --quiet --plain --worst 10 --pictures FOLDER

DIR holds clips/*.mp4, truth/<stem>.csv and truth.csv. Prints one row a clip, detail and side, then one a detail (figures.py says what its
columns are) and what matters across them. --plain sets the plain mediapipe loop beside it (plain.py; kept in the cache like tracks);
--worst lists the readings furthest off and --pictures draws each of them over its frame.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.find import find_attempts
from pipeline.bench.figures import bent_knees, contact, coverage, found, knees_in_plane, share, summary
from pipeline.bench.frame_truth import frame_rows, in_the_tuck
from pipeline.bench.in_plane import COLUMN, with_toward
from pipeline.bench.truth_track import truth_track
from pipeline.landmarks.track import Track
from pipeline.measures.curves import frame_errors
from pipeline.measures.learnt import Corrections
from pipeline.measures.measure import measure_attempt
from pipeline.measures.uncertainty import Table
from pipeline.vocabulary import DETAIL, Side, Skill

MATCH_S = 0.7  # an attempt found is one told of if their middles lie within this
BOUNDARY_S = 0.15


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


def closer(folder: Path, stem: str, track: Track, found: list[Attempt], *, model: str, cache: Path) -> Track:
    """The track of a clip to measure the attempts found from, its holds as a closer look sees them, as in a run."""
    from pipeline.attempts.held import seen_closer
    from pipeline.clips.content import content_hash
    from pipeline.landmarks.settings import LandmarkSettings

    clip = _clip(folder, stem)
    return seen_closer(clip, content_hash(clip), track, found, LandmarkSettings(model=model), cache) if clip else track


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
        row = {"clip": stem, "skill": skill, "found": bool(mine), "extra": len(mine_all) > truth.groupby(["skill", "start_s"]).ngroups}
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


def right_person(folder: Path, loaded: dict[str, Track]) -> pd.Series:
    """Share of each clip's frames in which all eight joints of shoulders, hips, knees and ankles lie within 0.6 trunk of the athlete's."""
    from pipeline.bench.follow_check import compare as joints
    from pipeline.bench.follow_check import read_truth

    return pd.Series({s: joints(t.t, t.xy, read_truth(folder / "truth" / f"{s}.csv"))["person %"] / 100 for s, t in loaded.items()})


def _plain(folder: Path, truth: pd.DataFrame, cache: Path) -> pd.DataFrame:
    from pipeline.bench.calibrate import EMPTY
    from pipeline.bench.plain import plain_rows

    rows: list[dict] = []
    for clip in sorted((folder / "clips").iterdir()):
        told = truth[truth["clip"] == clip.stem]
        if len(told):
            rows += plain_rows(clip, told, cache, EMPTY)
    return pd.DataFrame(rows)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, default=Path("sample_data"))
    parser.add_argument("--perfect", action="store_true", help="measure on the true joints")
    parser.add_argument("--model", default="tuned", help="landmark model: wheel, tuned or a file")
    parser.add_argument("--cache", type=Path, default=Path("build/bench-tracks"), help="where tracks are kept")
    parser.add_argument("--out", type=Path, help="write the rows as CSV")
    parser.add_argument("--quiet", action="store_true", help="only the summary")
    parser.add_argument("--plain", action="store_true", help="the plain mediapipe loop beside it")
    parser.add_argument("--worst", type=int, default=0, metavar="N", help="list the N readings furthest off")
    parser.add_argument("--pictures", type=Path, help="draw the worst readings into this folder")
    args = parser.parse_args()
    truth = read_truth_table(args.folder)
    loaded = dict(tracks(args.folder, perfect=args.perfect, model=args.model, cache=args.cache))
    rows, attempts, rolls = [], [], {}
    for stem, track in loaded.items():
        told = truth[truth["clip"] == stem]
        if len(told):
            found_here = find_attempts(track)
            if not args.perfect:
                track = closer(args.folder, stem, track, found_here, model=args.model, cache=args.cache)
            rolls[stem] = (track, [a for a in found_here if a.skill is Skill.BACKWARD_ROLL])
            r, a = compare(stem, track, told, found=found_here)
            rows += r
            attempts += a
    table, gone = pd.DataFrame(rows), pd.DataFrame(attempts)
    if table.empty:
        print(f"{args.folder}: no clip with a truth was found.")
        return 1
    table["inside"] = (table.low <= table.true + 1e-9) & (table.true <= table.high + 1e-9)
    if args.out:
        table.to_csv(args.out, index=False)
    plain = _plain(args.folder, truth, args.cache) if args.plain else None
    with pd.option_context(
        "display.width", 240, "display.max_rows", None, "display.max_columns", None, "display.max_colwidth", 60, "display.precision", 2
    ):
        if not args.quiet:
            print(table.to_string(index=False))
            print(gone.to_string(index=False))
        print(summary(table, plain).to_string(index=False, float_format="{:.2f}".format))
        for line in (coverage(table), bent_knees(table), knees_in_plane(table), contact(table), found(gone, BOUNDARY_S)):
            print(line)
        print(in_the_tuck(frame_rows(args.folder, rolls, frame_errors())))
        person = right_person(args.folder, loaded)
        print(f"frames on the right person {100 * person.mean():.1f} %; clips with fewer than 99 %: {share(person < 0.99)}")
        if args.worst:
            from pipeline.bench.worst import draw, furthest

            worst = furthest(table, args.worst)
            print(worst.to_string(index=False))
            if args.pictures:
                print(f"Drew {len(draw(args.folder, worst, loaded, args.pictures))} pictures into {args.pictures}.")
    return 0
