"""Learn how far off angles are read at such a pose, seen so (measures/pose_errors.csv of holds, frame_pose_errors.csv of single frames):

    python -m pipeline.bench pose-errors BENCH/tune [MORE/tune] --cache DIR --write

Every detail of LEARNT is read on the clips of the tuning parts with no table at all; what is missing to the truth is explained by the
pose numbers of measures/learnt.py (ridge.py). It is printed how far off readings of left-out bodies are without and with it, each with the
median error of the other bodies taken off, and how sure the gain is (95 % interval over bodies drawn with replacement). The table holds
the weights learnt from all bodies and those without each fifth of them, so that `calibrate` learns intervals from readings that are
corrected by what other children taught. Single frames, and a cartwheel's knee over its window: see frame_pose_errors.py.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.bench import frame_pose_errors
from pipeline.bench.against_truth import MATCH_S, read_truth_table
from pipeline.bench.calibrate import EMPTY, Clips, clips_of
from pipeline.bench.only import HELP, PARTS, write_lines
from pipeline.bench.ridge import HEADING, Samples, fitted, joined, rows, usual, without_fifths
from pipeline.bench.scenes import body_of
from pipeline.landmarks.net import FEATURES, POINTS
from pipeline.landmarks.track import Track
from pipeline.measures import loaded_lunge, lunge, shoulder_stand
from pipeline.measures.learnt import FRAMES_TABLE, HOLD_NAMES, NAMES, TABLE, Correction, hold_numbers, looked_at_twice
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene, make_scene
from pipeline.vocabulary import Side, Skill

STRENGTH = 80.0  # the ridge's pull towards no correction, in readings one sd off in every number of the pose
FEATURE_STRENGTH, SPACE_STRENGTH = 960.0, 240.0  # of the near look's: as many as there are of each, so that they count like one
DRAWS, SEED = 400, 3
# a network's features add nothing to a lunge's knee; to its line nothing here, and they harm it on another renderer's (tried with a larger
# network's, at whole bodies)
POSE_ALONE: tuple[tuple[Skill, str], ...] = (
    (Skill.LUNGE, "knee_angle"),
    (Skill.LUNGE, "line_deviation"),
)
# what the near look tells leaves nothing to correct at a lunge's shoulder and arms (2.05 degrees without, 2.14 with; 124 lunges, bodies left out) and at
# a loaded one's knee (3.69 and 3.75);
# toes gain here (5.0 to 4.3 and 11.2 to 9.2 degrees) and lose on pictures of another renderer (17 feet in cartwheels 8.0 to 10.4): they are left
LEARNT: tuple[tuple[Skill, str], ...] = (
    (Skill.LUNGE, "hip_angle"),
    (Skill.SHOULDER_STAND, "hip_angle"),
    (Skill.SHOULDER_STAND, "hip_knee_angle"),
    (Skill.SHOULDER_STAND, "leg_to_vertical"),
    *POSE_ALONE,
)
ABOUT = (
    "# How far off held angles are read at such a pose (measures/learnt.py): of each number its mean and sd and the weight of one sd, in",
    "# the detail's unit, learnt from all bodies (0) and without each fifth of them (1 to 5, for calibrating); `at most`: the largest correction.",
)
READ: dict[Skill, Callable[[Scene], list[Reading]]] = {
    Skill.LUNGE: lambda s: lunge.readings(s, EMPTY),
    Skill.LOADED_LUNGE: lambda s: loaded_lunge.readings(s, EMPTY),
    Skill.SHOULDER_STAND: lambda s: shoulder_stand.readings(s, EMPTY),
}


def samples(clips: Clips, truth: pd.DataFrame, wanted: tuple[tuple[Skill, str], ...] = LEARNT) -> dict[tuple[Skill, str], Samples]:
    """What every attempt found teaches about the details wanted."""
    found_of: dict[tuple[Skill, str], list[tuple[np.ndarray, float, str]]] = {key: [] for key in wanted}
    for (stem, skill, start, end), told in truth.groupby(["clip", "skill", "start_s", "end_s"]):
        if stem not in clips or Skill(skill) not in READ:
            continue
        track, found = clips[stem]
        mine = [a for a in found if a.skill == skill and abs((a.start_s + a.end_s - start - end) / 2) < MATCH_S]
        if not mine:
            continue
        lead = Side(next((side for side in told.lead_side if isinstance(side, str)), ""))
        known = {(d, s): v for d, s, v in zip(told.detail, told.side, told.value, strict=True)}
        for detail, side, value, numbers in _read(track, mine[0], lead):
            true = known.get((detail, str(side)))
            key = (Skill(skill), detail)
            if key in found_of and true is not None and np.isfinite(value):
                found_of[key].append((numbers[: len(NAMES)] if key in POSE_ALONE else numbers, true - value, body_of(stem)))
    return {key: Samples(*(np.array(column) for column in zip(*v, strict=True)), np.ones(len(v))) for key, v in found_of.items() if v}


def _read(track: Track, attempt: Attempt, lead: Side) -> list[tuple[str, Side, float, np.ndarray]]:
    scene = make_scene(track, attempt, lead_side=lead, learnt={})
    if not scene.key.any() or not looked_at_twice(scene):
        return []
    read = READ[attempt.skill](scene)
    usual = lunge.back_leg(scene) if attempt.skill in (Skill.LUNGE, Skill.LOADED_LUNGE) else scene.near
    numbers = {side: hold_numbers(scene, side) for side in (Side.LEFT, Side.RIGHT)}
    return [(r.detail, r.side, r.value, numbers[r.side or usual]) for r in read]


def pulls(k: int = len(HOLD_NAMES)) -> np.ndarray:
    """(k,) of each of the first numbers of HOLD_NAMES the pull towards none."""
    features = np.where(np.arange(FEATURES) < FEATURES - POINTS * 3, FEATURE_STRENGTH, SPACE_STRENGTH)
    return np.concatenate([np.full(len(NAMES), STRENGTH), features, features])[:k]


def learn(of: Samples) -> Correction:
    """The correction of one detail; none on average, for that is the error table's bias."""
    return fitted(of, *usual(of), pulls(of.numbers.shape[1]), with_mean=False)


def left_out(of: Samples) -> tuple[np.ndarray, np.ndarray]:
    """(n,) errors that are left of each body's readings by the bias of the other bodies, and by their correction and bias."""
    before, after = np.empty(len(of.error)), np.empty(len(of.error))
    for body in np.unique(of.body):
        mine = of.body == body
        rest, own = of.where(~mine), of.where(mine)
        learnt = learn(rest)
        before[mine] = own.error - np.median(rest.error)
        after[mine] = own.error - learnt.each(own.numbers) - np.median(rest.error - learnt.each(rest.numbers))
    return before, after


def gain(of: Samples, before: np.ndarray, after: np.ndarray) -> tuple[float, float, float]:
    """(share of the mean error saved, and its 95 % interval over bodies drawn with replacement)."""
    rng = np.random.default_rng(SEED)
    bodies = np.unique(of.body)
    sums = np.array([[np.abs(before[of.body == b]).sum(), np.abs(after[of.body == b]).sum()] for b in bodies])
    drawn = sums[rng.integers(len(bodies), size=(DRAWS, len(bodies)))].sum(axis=1)
    low, high = np.quantile(1 - drawn[:, 1] / drawn[:, 0], [0.025, 0.975])
    return float(1 - sums[:, 1].sum() / sums[:, 0].sum()), float(low), float(high)


def table_lines(taught: dict[tuple[Skill, str], Samples], made: str) -> list[str]:
    """The lines of the table."""
    lines = [*ABOUT, f"# {made}", HEADING]
    for key, of in taught.items():
        k = of.numbers.shape[1]
        lines += rows(key, HOLD_NAMES[:k], without_fifths(of, pulls(k), with_mean=False), digits=4, with_mean=False)
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+", help="tuning parts: clips/, truth/, truth.csv")
    parser.add_argument("--model", default="tuned", help="landmark model: wheel, tuned or a file")
    parser.add_argument("--cache", type=Path, default=Path("build/bench-tracks"), help="where tracks are kept")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name} and {FRAMES_TABLE.name}")
    parser.add_argument("--only", choices=PARTS, help=HELP)
    args = parser.parse_args()
    parts = [(folder, clips_of(folder, args.model, args.cache), read_truth_table(folder)) for folder in args.folders]
    made = f"Made by `python -m pipeline.bench pose-errors` from {sum(len(clips) for _, clips, _ in parts)} rendered clips with known joints, landmark model {args.model}."
    report([(clips, truth) for _, clips, truth in parts], made, args.write)
    learnt, lines = frame_pose_errors.learn(parts)
    print("\n".join(lines))
    if args.write:
        write_lines(FRAMES_TABLE, frame_pose_errors.table_lines(learnt, made), only=args.only)
        print(f"Wrote {FRAMES_TABLE}.")
    return 0


def report(parts: list[tuple[Clips, pd.DataFrame]], made: str, write: bool) -> None:
    """Print what is gained on left-out bodies, and write the table where asked for."""
    each = [samples(clips, truth) for clips, truth in parts]
    taught = {key: joined([part[key] for part in each if key in part]) for key in LEARNT if any(key in part for part in each)}
    for (skill, detail), of in taught.items():
        before, after = left_out(of)
        saved, low, high = gain(of, before, after)
        size = np.abs(learn(of).each(of.numbers)).mean()
        print(
            f"{skill:15} {detail:16} n {len(of.error):4}  bodies {len(np.unique(of.body)):3}  mean error {np.abs(before).mean():.2f} -> "
            f"{np.abs(after).mean():.2f}  95th percentile {np.quantile(np.abs(before), 0.95):.1f} -> {np.quantile(np.abs(after), 0.95):.1f}  "
            f"saved {100 * saved:.0f} % ({100 * low:.0f} to {100 * high:.0f})  mean correction {size:.2f}"
        )
    if write:
        TABLE.write_text("\n".join(table_lines(taught, made)) + "\n", encoding="utf-8")
        print(f"Wrote {TABLE}.")


if __name__ == "__main__":
    raise SystemExit(main())
