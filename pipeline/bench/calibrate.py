"""Learn the table of known errors from clips whose joints are known:

    python -m pipeline.bench calibrate BENCH/tune --check BENCH/report --write

Every detail is measured with an empty table, so that its raw value and its own error (spread, view, passes) come out. The bias is
the median of truth minus raw value, drawn towards 0 where few clips speak; sd is what the own errors do not explain; factor is the
smallest that makes the interval hold the truth in 95 % of these clips (split conformal: the ceil((n+1)*0.95)-th smallest of
|error|/sd; Vovk et al. 2005, Lei et al. 2018), kept within 1.6 and 2.8. --check prints coverage on clips that took no part.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.bench.readings import compare, read_truth_table, summary, tracks
from pipeline.measures.uncertainty import TABLE, Known, Table
from pipeline.vocabulary import DETAIL, Skill

COVER = 0.95
LEAST_FACTOR, MOST_FACTOR = 1.6, 2.8  # beyond it a few clips whose landmarks went wrong would widen everybody's interval
FEW = 8  # clips whose worth of pull towards no bias and the first guess
FIRST_GUESS = {"deg": 5.0, "% chord": 2.5, "% shank": 10.0, "s": 0.1, "% leg": 3.0, "steps": 0.5, "hands": 0.5, "arms/s": 0.5, "SPARC": 0.2}
EMPTY: Table = {key: Known(0.0, 1e-6, 1.0, 0) for key in DETAIL}


def rows_of(folder: Path, model: str, cache: Path, table: Table | None) -> pd.DataFrame:
    """One row a reading of every clip of a folder."""
    truth = read_truth_table(folder)
    rows: list[dict] = []
    for stem, track in tracks(folder, perfect=False, model=model, cache=cache):
        told = truth[truth["clip"] == stem]
        if len(told):
            rows += compare(stem, track, told, table=table)[0]
    return pd.DataFrame(rows)


def learn(rows: pd.DataFrame) -> dict[tuple[Skill, str], Known]:
    """The table from readings made with the empty one. Values at the ends of what a body allows (180, 0) take part as they are."""
    out = {}
    for key, detail in DETAIL.items():
        part = rows[(rows.skill == str(key[0])) & (rows.detail == key[1]) & rows.reading.notna()]
        error = (part.true - part.reading).to_numpy(float)
        own = ((part.high - part.low) / 2).to_numpy(float)
        guess = FIRST_GUESS[detail.unit]
        n = len(error)
        if n < 3:
            out[key] = Known(0.0, guess, 1.96, n)
            continue
        bias = float(np.median(error)) * n / (n + FEW)
        rest = np.abs(error - bias)
        square = np.clip(rest**2 - own**2, 0, None)
        kept = np.sort(square)[: max(3, int(np.ceil(0.9 * n)))]  # the tail is the factor's business
        sd = float(np.sqrt((kept.sum() + FEW / 4 * guess**2) / (len(kept) + FEW / 4)))
        score = np.sort(rest / np.hypot(own, sd))
        rank = min(int(np.ceil((n + 1) * COVER)), n)
        out[key] = Known(bias, sd, float(np.clip(score[rank - 1], LEAST_FACTOR, MOST_FACTOR)), n)
    return out


def write(table: Table, file: Path, made: str) -> None:
    """The committed table, its first lines saying how it was made."""
    lines = [
        "# How far readings lie from the truth before the errors of one attempt (spread, view, passes) are added in squares: bias (truth minus",
        "# reading) and sd, in the detail's unit; factor makes the combined sd the half-width of the 95 % interval; n: readings behind the row",
        "# (0: a wide first guess).",
        f"# {made}",
        "skill,detail,bias,sd,factor,n",
    ]
    lines += [f"{skill},{detail},{k.bias:.2f},{k.sd:.2f},{k.factor:.2f},{k.n}" for (skill, detail), k in table.items()]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, help="the tuning part: clips/, truth/, truth.csv")
    parser.add_argument("--check", type=Path, help="the report-only part")
    parser.add_argument("--model", default="tuned", help="landmark model: wheel, tuned or a file")
    parser.add_argument("--cache", type=Path, default=Path("build/bench-tracks"), help="where tracks are kept")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    args = parser.parse_args()
    rows = rows_of(args.folder, args.model, args.cache, EMPTY)
    table = learn(rows)
    for (skill, detail), k in table.items():
        print(f"{skill:15} {detail:18} bias {k.bias:7.2f}  sd {k.sd:6.2f}  factor {k.factor:.2f}  n {k.n}")
    if args.write:
        clips = rows["clip"].nunique()
        write(
            table,
            TABLE,
            f"Made by `python -m pipeline.bench calibrate` from {clips} rendered clips with known joints, landmark model {args.model}.",
        )
        print(f"Wrote {TABLE}.")
    if args.check:
        checked = rows_of(args.check, args.model, args.cache, table)
        with pd.option_context("display.width", 200, "display.max_columns", None, "display.precision", 2):
            print(summary(checked).to_string(index=False))
    return 0
