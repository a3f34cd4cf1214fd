"""Learn the table of known errors from clips whose joints are known:

    python -m pipeline.bench calibrate BENCH/tune [MORE/tune] --check BENCH/report --write

Every detail is measured with an empty table, so that its raw value and its own error (spread, view, passes) come out. Then, for each:

- bias: the median of truth minus raw value, drawn towards 0 where few clips speak; of a cartwheel's knee that of legs bent in the picture's
  plane (in_plane.py), which is what points show: what bends at the camera widens the interval downwards and shifts nothing;
- sd: what the own errors do not explain, errors beyond 2.5 sd counted as that (Huber's proposal 2), drawn towards a first guess;
- factor: from combined sd to half-width. Every reading is scored as |error| / sd with bias and sd learnt without any clip of its
  body (CV+ by groups; Barber et al. 2021), so that neither clip nor child was seen: a model is off alike in all clips of one body. The
  ceil((n+1)*0.95)-th smallest score would make the interval hold the truth in 95 % (split conformal; Vovk et al. 2005). n counts readings,
  and those of one body go together: the rank is that of as many readings as they are worth by Kish's design effect (Kish 1965), from how
  alike the scores of one body are (intraclass correlation, analysis of variance); with fewer exchangeable units it lies higher, as in
  conformal prediction for groups (Dunn, Wasserman and Ramdas 2023). Of 20 scores that is the largest, whose own chance is wide. So a
  detail's own quantile is mixed with that of all well-behaved details' scores together, as POOLED readings' worth; where it is more than
  just the largest score, others may widen it and never narrow it: a detail with a long tail of its own is not held by what is usual
  elsewhere. Where a detail has MANY readings and they lie further off on one side, the two sides are learnt apart: a knee's bend towards
  the camera makes cartwheels read too straight, never too bent.

What is corrected at poses (pose_errors.py) was learnt without the clip's body, too: without a fifth of the bodies that it belongs to.

A detail with fewer than LEAST readings keeps its first guess and a wide factor; the table says how many readings are behind a row.
Readings that are refused (wrong view, body not steady, joints not seen) teach nothing. --check prints the coverage on clips that took
no part.
"""

from __future__ import annotations

import argparse
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.find import find_attempts
from pipeline.bench.against_truth import compare, read_truth_table, seen_near_by, tracks
from pipeline.bench.figures import coverage, summary
from pipeline.bench.frame_truth import EMPTY as NO_FRAMES
from pipeline.bench.frame_truth import frame_coverage, frame_rows, learn_frames
from pipeline.bench.in_plane import COLUMN, in_plane
from pipeline.bench.only import HELP, PARTS, write_lines
from pipeline.bench.scenes import body_of, fifth_of
from pipeline.landmarks.track import Track
from pipeline.measures.curves import TABLE as FRAME_TABLE
from pipeline.measures.learnt import corrections
from pipeline.measures.uncertainty import TABLE, Known, Table
from pipeline.vocabulary import ARMS_PER_S, CHORD, DEGREES, DETAIL, HANDS, LEG, SECONDS, SHANK, SPARC, STEPS, Skill

COVER = 0.95
LEAST, MANY = 8, 36  # readings
LOPSIDED, APART_AT = 1.4, 0.9  # sides differ where these quantiles of the scores are so many times as large on one side as on the other
FEW = 4  # readings' worth of pull towards no bias
GUESSED = 2  # readings' worth of pull towards the first guess of the sd
POOLED = 40  # readings' worth of all well-behaved details' quantile in a detail's own
LONG_TAIL = 3.0  # a detail whose 95 % quantile of scores lies beyond it is no measure for others
STRAY_SCORE = 4.0  # what lies further off counts as this where it is asked how alike one body's scores are
LEAST_FACTOR, MOST_FACTOR, WIDE = 1.7, 3.5, 2.6
FIRST_GUESS = {DEGREES: 5.0, CHORD: 2.0, SHANK: 10.0, SECONDS: 0.08, LEG: 3.0, ARMS_PER_S: 0.6, SPARC: 0.2}  # sd
HARDER = {"finish_side": 15.0, "head_turn": 15.0, "hands_in_line": 12.0, "head_to_hands": 15.0, "hand_turned_in": 30.0}  # sd, degrees
ABOUT = (
    "# How far readings lie from the truth before the errors of one attempt (spread, view, passes) are added in squares: bias (truth minus",
    "# reading) and sd, in the detail's unit; factor makes the combined sd the half-width of the 95 % interval, below the lower half where",
    "# it differs; n: readings behind the row (fewer than 8: a wide first guess). Of knee_contact_time see knee_contact.csv.",
)
ABOUT_FRAMES = ("# How far hip and knee may be off in a single frame of an attempt; columns as in error_table.csv, n in clips.",)
COUNTS = (STEPS, HANDS)
EMPTY: Table = {key: Known(0.0, 1e-6, 1.0, 0) for key in DETAIL}
REST = (Skill.BACKWARD_ROLL, "knee_contact_time")  # its interval comes from bench/knee_contact.py


@dataclass(frozen=True)
class Errors:
    """What readings with the empty table were off, of one detail: truth minus reading, own sd, the clip and body each comes from, and
    whether it tells of the bias."""

    error: np.ndarray
    own: np.ndarray
    clip: np.ndarray
    body: np.ndarray
    shown: np.ndarray

    def where(self, mask: np.ndarray) -> Errors:
        """Those of the mask."""
        return Errors(self.error[mask], self.own[mask], self.clip[mask], self.body[mask], self.shown[mask])


Clips = Mapping[str, tuple[Track, list[Attempt]]]


def clips_of(folder: Path, model: str, cache: Path) -> Clips:
    """Every clip's track, its holds as they are seen from near by, and the attempts found in it."""
    out = {}
    for stem, track in tracks(folder, perfect=False, model=model, cache=cache):
        found = find_attempts(track)
        out[stem] = (seen_near_by(folder, stem, track, found, model=model, cache=cache), found)
    return out


def rows_of(clips: Clips, truth: pd.DataFrame, table: Table | None, *, unseen: bool = False) -> pd.DataFrame:
    """One row a reading of every clip; `unseen`: with what was learnt of errors at poses without a fifth of the bodies, the clip's among
    them."""
    rows: list[dict] = []
    for stem, (track, found) in clips.items():
        told = truth[truth["clip"] == stem]
        if len(told):
            learnt = corrections(fifth_of(body_of(stem))) if unseen else corrections()
            rows += compare(stem, track, told, table=table, found=found, learnt=learnt)[0]
    return pd.DataFrame(rows)


def fitted(errors: Errors, guess: float) -> tuple[float, float]:
    """(bias, sd) of one detail."""
    n = len(errors.error)
    telling = errors.error[errors.shown] if errors.shown.any() else errors.error
    bias = float(np.median(telling)) * len(telling) / (len(telling) + FEW)
    rest = np.abs(errors.error - bias)
    sd = max(1.4826 * float(np.median(rest)), 0.3 * guess)
    for _ in range(20):
        square = np.clip(np.minimum(rest, 2.5 * sd) ** 2 - np.minimum(errors.own, 2 * sd) ** 2, 0, None)
        sd = max(float(np.sqrt((square.sum() + GUESSED * guess**2) / (n + GUESSED))), 0.2 * guess)
    return bias, sd


def unseen_scores(errors: Errors, guess: float) -> np.ndarray:
    """(n,) signed error over sd of each reading, by the bias and sd of the other bodies."""
    out = np.full(len(errors.error), np.nan)
    for body in np.unique(errors.body):
        mine = errors.body == body
        bias, sd = fitted(errors.where(~mine), guess)
        out[mine] = (errors.error[mine] - bias) / np.hypot(sd, errors.own[mine])
    return out


def conformal(scores: np.ndarray, cover: float, worth: float | None = None) -> float:
    """The ceil((n+1)*cover)-th smallest of the scores, at most the largest; of scores that are `worth` fewer, the one as far up among all
    as that rank is among these."""
    ordered = np.sort(scores)
    n = len(ordered)
    share = cover * (1 + 1 / (n if worth is None else min(worth, n)))
    return float(ordered[min(int(np.ceil(n * share - 1e-9)), n) - 1])


def worth(scores: np.ndarray, body: np.ndarray) -> float:
    """How many readings on as many bodies tell as much as these (n,): n over Kish's design effect, 1 + (m - 1) r, with r the intraclass
    correlation of the scores (n,) by one-way analysis of variance and m readings a body, as a reading meets them."""
    _, which, count = np.unique(body, return_inverse=True, return_counts=True)
    n, k = len(scores), len(count)
    if k < 2 or n <= k:
        return float(n)
    mean = np.bincount(which, scores) / count
    between = float(count @ (mean - scores.mean()) ** 2) / (k - 1)
    within = float(np.sum((scores - mean[which]) ** 2)) / (n - k)
    each = (n - float(count @ count) / n) / (k - 1)
    alike = np.clip((between - within) / max(between + (each - 1) * within, 1e-12), 0.0, 1.0)
    return float(n / (1 + (float(count @ count) / n - 1) * alike))


def learn(rows: pd.DataFrame) -> dict[tuple[Skill, str], Known]:
    """The table from readings made with the empty one."""
    known = {key: _errors(rows, key) for key in DETAIL}
    fits = {key: e for key, e in known.items() if len(np.unique(e.clip)) >= LEAST and DETAIL[key].unit not in COUNTS and key != REST}
    scores = {key: unseen_scores(e, first_guess(key)) for key, e in fits.items()}
    usual = _usual(scores.values())
    out = {}
    for key in DETAIL:
        n = len(known[key].error)
        if DETAIL[key].unit in COUNTS:
            out[key] = _count(known[key])
        elif key == REST:
            out[key] = Known(0.0, first_guess(key), WIDE, 0)
        elif key not in fits:
            guess = first_guess(key)
            seen = fitted(known[key], guess)[1] if n >= 3 else guess
            out[key] = Known(0.0, max(seen, guess), WIDE, n)
        else:
            bias, sd = fitted(known[key], first_guess(key))
            units = worth(np.minimum(np.abs(scores[key]), STRAY_SCORE), fits[key].body)
            mixed = [_mixed(conformal(s, cover, units), units, cover, usual) for s, cover in _sides(scores[key], n)]
            out[key] = Known(bias, sd, mixed[0], n, mixed[1] if len(mixed) > 1 else float("nan"))
    return out


def _errors(rows: pd.DataFrame, key: tuple[Skill, str]) -> Errors:
    part = rows[(rows.skill == str(key[0])) & (rows.detail == key[1]) & rows.reading.notna()]
    if DETAIL[key].unit in COUNTS:  # how far the truth lies outside the counts the frames themselves leave open
        error = np.maximum(np.maximum(part.low - part.true, part.true - part.high), 0).to_numpy(float)
    else:
        error = (part.true - part.reading).to_numpy(float)
    own = ((part.high - part.low) / 2).to_numpy(float)
    clips = part["clip"].to_numpy()
    shown = in_plane(part[COLUMN]) if COLUMN in part else np.ones(len(part), dtype=bool)
    return Errors(error, own, clips, np.array([body_of(clip) for clip in clips], dtype=str), shown)


def first_guess(key: tuple[Skill, str]) -> float:
    """sd assumed of a detail before anything is known."""
    return HARDER.get(key[1], FIRST_GUESS.get(DETAIL[key].unit, 1.0))


def _sides(scores: np.ndarray, n: int) -> list[tuple[np.ndarray, float]]:
    """Scores and cover to reach: both sides together, or upwards and downwards apart where they differ and are many: of fewer than
    80, half of 5 % is beyond the largest score, so that parting two sides that are alike only makes both wider."""
    upwards, downwards = (max(float(np.quantile(side, APART_AT)), 1e-9) for side in (scores, -scores))
    if n < MANY or max(upwards, downwards) < LOPSIDED * min(upwards, downwards):
        return [(np.abs(scores), COVER)]
    return [(scores, (1 + COVER) / 2), (-scores, (1 + COVER) / 2)]


def _usual(scores: Collection[np.ndarray]) -> float:
    """The quantile of all details' scores together, but for those with long tails."""
    tame = [np.abs(s) for s in scores if np.quantile(np.abs(s), COVER) < LONG_TAIL]
    return conformal(np.concatenate(tame), COVER) if tame else WIDE


def _mixed(own: float, n: float, cover: float, usual: float) -> float:
    """A detail's factor from n readings' worth; from 39 at 95 % its own quantile is not just the largest score: it may say more then, and
    the usual one only widens it."""
    enough = n >= 2 / (1 - cover) - 1
    most = 1.5 * MOST_FACTOR if enough else MOST_FACTOR
    own = float(np.clip(own, 0.0, most))
    mixed = (n * own + POOLED * usual) / (n + POOLED)
    return float(np.clip(max(mixed, own) if enough else mixed, LEAST_FACTOR, most))


def _count(errors: Errors) -> Known:
    """By how many counts an interval must be widened to hold the truth; by one where too few are known. A count more or less is a large
    step: one is left out only where without it the share that holds is COVER even one standard error lower."""
    off = np.abs(errors.error)
    if len(off) < (1 + COVER) / (1 - COVER) / 2:
        return Known(0.0, max(1.0, float(off.max(initial=0))) / 1.96, 1.96, len(off))
    units = worth(off, errors.body)
    held = ((wider, float(np.mean(off <= wider))) for wider in np.unique(np.append(np.ceil(off), 0.0)))
    return Known(0.0, next(wider for wider, share in held if share - np.sqrt(share * (1 - share) / units) >= COVER) / 1.96, 1.96, len(off))


def table_lines(table: Table, made: str, about: Sequence[str]) -> list[str]:
    """The lines of a committed table, the first of them saying what it is and how it was made."""
    lines = [*about, f"# {made}", "skill,detail,bias,sd,factor,n,below"]
    for (skill, detail), k in table.items():
        below = f"{k.below:.2f}" if np.isfinite(k.below) else ""
        lines.append(f"{skill},{detail},{k.bias:.2f},{k.sd:.3f},{k.factor:.2f},{k.n},{below}")
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+", help="tuning parts: clips/, truth/, truth.csv")
    parser.add_argument("--check", type=Path, help="the report-only part")
    parser.add_argument("--model", default="tuned", help="landmark model: wheel, tuned or a file")
    parser.add_argument("--cache", type=Path, default=Path("build/bench-tracks"), help="where tracks are kept")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name} and {FRAME_TABLE.name}")
    parser.add_argument("--only", choices=PARTS, help=HELP)
    args = parser.parse_args()
    parts = [(folder, clips_of(folder, args.model, args.cache)) for folder in args.folders]
    rows = pd.concat([rows_of(clips, read_truth_table(folder), EMPTY, unseen=True) for folder, clips in parts], ignore_index=True)
    table = learn(rows)
    frames = learn_frames(
        pd.concat([frame_rows(folder, clips, NO_FRAMES, unseen=True) for folder, clips in parts], ignore_index=True), LEAST
    )
    for (skill, detail), k in table.items():
        print(f"{skill:15} {detail:18} bias {k.bias:7.2f}  sd {k.sd:6.2f}  factor {k.factor:.2f}  down {k.down:.2f}  n {k.n}")
    if args.write:
        made = f"Made by `python -m pipeline.bench calibrate` from {rows['clip'].nunique()} rendered clips with known joints, landmark model {args.model}."
        for path, learnt, about in ((TABLE, table, ABOUT), (FRAME_TABLE, frames, ABOUT_FRAMES)):
            write_lines(path, table_lines(learnt, made, about), only=args.only)
        print(f"Wrote {TABLE} and {FRAME_TABLE}.")
    if args.check:
        clips = clips_of(args.check, args.model, args.cache)
        checked = rows_of(clips, read_truth_table(args.check), table)
        with pd.option_context("display.width", 200, "display.max_rows", None, "display.max_columns", None, "display.precision", 2):
            print(summary(checked).to_string(index=False, float_format="{:.2f}".format))
        print(coverage(checked))
        print(frame_coverage(frame_rows(args.check, clips, frames)))
    return 0
