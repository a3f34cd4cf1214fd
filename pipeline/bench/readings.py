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
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.attempts.find import find_attempts
from pipeline.bench.against_truth import compare, read_truth_table, seen_near_by, tracks
from pipeline.bench.figures import bent_knees, contact, coverage, found, knees_in_plane, share, summary
from pipeline.bench.follow_check import in_the_picture, joints_told, on_the_right_person, read_truth
from pipeline.bench.frame_truth import every_frame, frame_rows, in_the_tuck
from pipeline.landmarks.track import Track
from pipeline.measures.curves import frame_errors

BOUNDARY_S = 0.15  # within which an attempt's start and end count as right
THROUGHOUT = 0.9  # share of an attempt's frames


class Whereabouts(NamedTuple):
    """Of each frame of a clip's truth: when it is, whether the eight joints of shoulders, hips, knees and ankles were followed within 0.6
    trunk of the athlete's, whether they are in the picture at all, and whether the track tells them."""

    t: np.ndarray  # (n,) seconds
    right: np.ndarray  # (n,) bool
    there: np.ndarray  # (n,) bool
    told: np.ndarray  # (n,) bool


def whereabouts(folder: Path, loaded: dict[str, Track]) -> dict[str, Whereabouts]:
    """Of each clip, by its stem."""
    out = {}
    for stem, track in loaded.items():
        truth = read_truth(folder / "truth" / f"{stem}.csv")
        out[stem] = Whereabouts(
            truth[0],
            on_the_right_person(track.t, track.xy, truth),
            in_the_picture(truth, track.size),
            joints_told(track.t, track.xy, truth),
        )
    return out


def right_person(where: dict[str, Whereabouts]) -> pd.DataFrame:
    """Of each clip the share of frames on the right person: of `all`, of those with her `in_the_picture` and of those in which a body is `told`
    (NaN where there are none)."""

    def of(w: Whereabouts, frames: np.ndarray) -> float:
        return float(w.right[frames].mean()) if frames.any() else np.nan

    shares = {stem: {"all": w.right.mean(), "in_the_picture": of(w, w.there), "told": of(w, w.told)} for stem, w in where.items()}
    return pd.DataFrame.from_dict(shares, orient="index")


def in_the_picture_throughout(attempts: pd.DataFrame, where: dict[str, Whereabouts]) -> np.ndarray:
    """(n,) bool, of each attempt: she is in the picture in THROUGHOUT of its frames."""
    shares = []
    for row in attempts.itertuples():
        w = where[row.clip]
        shares.append(w.there[(w.t >= row.true_start_s) & (w.t <= row.true_end_s)].mean())
    return np.array(shares) >= THROUGHOUT


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
    rows, attempts, looked_at = [], [], {}
    for stem, track in loaded.items():
        told = truth[truth["clip"] == stem]
        if len(told):
            found_here = find_attempts(track)
            if not args.perfect:
                track = seen_near_by(args.folder, stem, track, found_here, model=args.model, cache=args.cache)
            looked_at[stem] = (track, found_here)
            r, a = compare(stem, track, told, found=found_here)
            rows += r
            attempts += a
    table, gone = pd.DataFrame(rows), pd.DataFrame(attempts)
    if table.empty:
        print(f"{args.folder}: no clip with a truth was found.")
        return 1
    where = whereabouts(args.folder, loaded)
    gone["in_the_picture"] = in_the_picture_throughout(gone, where)
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
        each = frame_rows(args.folder, looked_at, frame_errors())
        for line in (in_the_tuck(each), every_frame(each)):
            print(line)
        person = right_person(where)
        print(
            f"frames on the right person {100 * person['all'].mean():.1f} %, of those with her eight joints in the picture "
            f"{100 * person.in_the_picture.mean():.1f} %, of those in which a body is told {100 * person.told.mean():.1f} %; "
            f"clips with fewer than 99 %: {share(person['all'] < 0.99)}"
        )
        if args.worst:
            from pipeline.bench.worst import draw, furthest

            worst = furthest(table, args.worst)
            print(worst.to_string(index=False))
            if args.pictures:
                print(f"Drew {len(draw(args.folder, worst, loaded, args.pictures))} pictures into {args.pictures}.")
    return 0
