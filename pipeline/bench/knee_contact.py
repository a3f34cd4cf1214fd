"""Learns from clips with known joints how likely a knee rests on the floor in a backward roll (measures/roll_contact.py).

    python -m pipeline.bench knee-contact BENCH/tune [BENCH2/tune ...] --write

Prints, for each roll judged by what the others taught, whether it is decided and rightly; --write writes measures/knee_contact.csv.
The odds are a logistic regression held towards 0 (ridge), three signs and a level, so that a few dozen rolls bear it.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.attempts.find import find_attempts
from pipeline.bench.against_truth import MATCH_S, read_truth_table, tracks
from pipeline.bench.figures import RESTED
from pipeline.bench.scenes import body_of
from pipeline.measures.backward_roll import signs_in
from pipeline.measures.roll_contact import COEFFICIENTS, SURE, Model, Signs, seconds_on_floor, terms
from pipeline.measures.scene import make_scene
from pipeline.vocabulary import Skill

RIDGE, RIDGE_SHOULDERS = 0.03, 1.0
FRAME_S = 1 / 30
# The doubt of a touch's time is learnt from this share of the touches, the inner ones: one in thirty hovers or is read on somebody else.
INNER, INNER_SDS = 0.8, 1.28  # and so many sds hold that share of a normal distribution


def rolls(folder: Path, model: str, cache: Path) -> list[tuple[str, Signs, float]]:
    """(clip, signs, true seconds of contact) of every roll found and read in a folder."""
    truth = read_truth_table(folder)
    truth = truth[(truth.skill == str(Skill.BACKWARD_ROLL)) & (truth.detail == "knee_contact_time")]
    out = []
    for stem, track in tracks(folder, perfect=False, model=model, cache=cache):
        told = truth[truth["clip"] == stem]
        if not len(told):
            continue
        found = [a for a in find_attempts(track) if a.skill is Skill.BACKWARD_ROLL]
        for row in told.itertuples():
            mine = [a for a in found if abs((a.start_s + a.end_s - row.start_s - row.end_s) / 2) < MATCH_S]
            signs = signs_in(make_scene(track, mine[0])) if mine else None
            if signs is not None:
                out.append((f"{folder}/{stem}", signs, float(row.value)))
    return out


def learn(known: list[tuple[str, Signs, float]]) -> Model:
    """The model from rolls whose true seconds are known."""
    x, y = np.array([terms(s) for _, s, _ in known]), np.array([seconds > 0 for _, _, seconds in known], float)
    # the low knee's sign in fives of % weighs like the feet's in tens; how a roll is done takes less part than what touches
    weights, hold = np.zeros(x.shape[1]), np.diag([1e-3, 4 * RIDGE, RIDGE, RIDGE_SHOULDERS])
    for _ in range(60):  # Newton's method on a convex function
        chance = 1 / (1 + np.exp(-np.clip(x @ weights, -30, 30)))
        curve = x.T * (chance * (1 - chance) + 1e-6) @ x + hold
        weights = weights + np.linalg.solve(curve, x.T @ (y - chance) - hold @ weights)
    model = Model(*(float(w) for w in weights), 0.1, len(known))
    off = np.array([abs(s.seconds - true) for _, s, true in known if true >= RESTED and model.chance(s) > SURE])
    sd = float(np.quantile(off, INNER)) / INNER_SDS if len(off) else 0.1
    return replace(model, seconds_sd=sd)


def judged(known: list[tuple[str, Signs, float]]) -> pd.DataFrame:
    """One row a roll: truth, the chance of a touch and the interval, by what the other children's clips taught."""
    rows = []
    for clip, signs, true in known:
        model = learn([k for k in known if body_of(Path(k[0]).name) != body_of(Path(clip).name)])
        value, low, high = seconds_on_floor(signs, model, FRAME_S)
        rows.append({"clip": clip, "true": true, "chance": model.chance(signs), "value": value, "low": low, "high": high,
                     "knees": signs.low, "feet": signs.feet, "shoulders": signs.shoulders, "seconds": signs.seconds})  # fmt: skip
    return pd.DataFrame(rows)


def summary(rows: pd.DataFrame) -> str:
    """In words: decided, rightly, the interval's cover."""
    yes, no = rows.low > 0, rows.high < RESTED
    right = (yes & (rows.true > 0)) | (no & (rows.true < RESTED))
    inside = (rows.low <= rows.true + 1e-9) & (rows.true <= rows.high + 1e-9)
    return (
        f"{len(rows)} rolls, each judged by the others: decided {int((yes | no).sum())} ({100 * (yes | no).mean():.0f} %), rightly {int(right.sum())}; "
        f"seconds off {(rows.value - rows.true).abs().mean():.3f}, half-width {((rows.high - rows.low) / 2).mean():.3f}, held {100 * inside.mean():.0f} %"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path, help="tuning parts: clips/, truth/, truth.csv")
    parser.add_argument("--model", default="tuned", help="landmark model: wheel, tuned or a file")
    parser.add_argument(
        "--cache", nargs="+", type=Path, default=[Path("build/bench-tracks")], help="where tracks are kept, one for all or one a folder"
    )
    parser.add_argument("--write", action="store_true", help=f"write {COEFFICIENTS.name}")
    args = parser.parse_args()
    caches = args.cache if len(args.cache) == len(args.folders) else args.cache[:1] * len(args.folders)
    known = [row for folder, cache in zip(args.folders, caches, strict=True) for row in rolls(folder, args.model, cache)]
    rows = judged(known)
    with pd.option_context("display.width", 200, "display.max_rows", None, "display.precision", 3):
        print(rows[(rows.chance > 1 - SURE) & (rows.chance < SURE) | ((rows.chance > 0.5) != (rows.true > 0))].to_string(index=False))
    print(summary(rows))
    model = learn(known)
    print(model)
    if args.write:
        COEFFICIENTS.write_text(
            "# How likely a knee rests on the floor in a backward roll: the log odds are base + low * the lowest clearance over a tenth of a second\n"
            "# + feet * the knees' height over the feet (roll_contact.terms; tens of % of the shank) + shoulders * how far they are off the mat\n"
            "# (from -1 to 1); seconds_sd: what the time is off.\n"
            f"# Made by `python -m pipeline.bench knee-contact` from {model.n} rolls in rendered clips with known joints, landmark model {args.model}.\n"
            f"base,low,feet,shoulders,seconds_sd,n\n{model.base:.3f},{model.low:.3f},{model.feet:.3f},{model.shoulders:.3f},{model.seconds_sd:.3f},{model.n}\n",
            encoding="utf-8",
        )
        print(f"Wrote {COEFFICIENTS}.")
    return 0
