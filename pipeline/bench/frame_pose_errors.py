"""What teaches measures/learnt_frames.py: every frame of hip and knee of the tuning parts, and the windows of a cartwheel's knees.

Called by `python -m pipeline.bench pose-errors`. The same ridge as there (ridge.py), every clip counting alike however long it is. A roll's
frames teach two corrections, upright and overhead, each frame as far as the trunk is turned over. The window of a cartwheel's knee is
corrected after its frames were, by what was learnt without the clip's body; knees bent in the picture's plane count more (`in_plane.py`),
for what bends at the camera cannot be seen, and would be learnt as a bend of all straight legs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.bench.against_truth import MATCH_S
from pipeline.bench.calibrate import EMPTY, Clips
from pipeline.bench.follow_check import read_truth
from pipeline.bench.frame_truth import EMPTY as NO_FRAMES
from pipeline.bench.frame_truth import missing
from pipeline.bench.in_plane import COLUMN, in_plane
from pipeline.bench.ridge import HEADING, Samples, joined, rows, without_fifths
from pipeline.bench.scenes import body_of, fifth_of
from pipeline.measures import cartwheel
from pipeline.measures.curves import curves, followed_side
from pipeline.measures.learnt import Correction, Corrections, looked_at_twice
from pipeline.measures.learnt_frames import EACH, FRAME_NAMES, OVERHEAD, WINDOW, WINDOW_NAMES, blended, frame_numbers, upside_down
from pipeline.measures.scene import make_scene
from pipeline.vocabulary import Side, Skill

STRENGTH = 20.0  # the ridge's pull towards no correction, in clips one sd off in every number
WINDOW_STRENGTH = 10.0
OUT_OF_PLANE = 0.3  # of a leg's weight, where its knee bends towards the camera or away: the least with which 90 % of bent knees are found
LEARNT: tuple[tuple[Skill, str], ...] = (
    (Skill.LUNGE, "hip_angle"), (Skill.LUNGE, "knee_angle"), (Skill.LOADED_LUNGE, "knee_angle"), (Skill.SHOULDER_STAND, "hip_angle"),
    (Skill.SHOULDER_STAND, "knee_angle"), (Skill.BACKWARD_ROLL, "hip_angle"), (Skill.BACKWARD_ROLL, "knee_angle"), (Skill.CARTWHEEL, "hip_angle"),
    (Skill.CARTWHEEL, "knee_angle"),
)  # fmt: skip
TURNS_OVER = (Skill.BACKWARD_ROLL,)
ABOUT = (
    "# How far off angles are read in single frames at such poses (measures/learnt_frames.py), and a cartwheel's knee over its window; columns",
    "# as in pose_errors.csv; `on average`: what is added at a usual pose.",
)


def frames_of(folder: Path, clips: Clips) -> dict[tuple[Skill, str], Samples]:
    """What every frame of the attempts found teaches, by skill and detail; every clip's weights sum to 1."""
    out: dict[tuple[Skill, str], list[Samples]] = {}
    for stem, (track, found) in clips.items():
        mine: dict[tuple[Skill, str], list[Samples]] = {}
        t, _, world = read_truth(folder / "truth" / f"{stem}.csv")
        for attempt in found:
            scene = replace(make_scene(track, attempt, learnt={}), cartwheel=None)  # poses are corrected before knees are told
            if not scene.key.any() or not looked_at_twice(scene):
                continue
            for curve in curves(scene, EMPTY, NO_FRAMES):
                key = (attempt.skill, curve.detail)
                if key not in LEARNT:
                    continue
                own = curve.side or followed_side(scene)
                error = missing(t, world, attempt.skill, own, curve)[1]
                angle = np.full(len(scene.t), np.nan)
                angle[scene.inside] = curve.value
                known, n = np.isfinite(error), int(np.isfinite(error).sum())
                numbers = frame_numbers(scene, own, angle)[scene.inside][known].astype(np.float32)
                mine.setdefault(key, []).append(Samples(numbers, error[known], np.repeat(body_of(stem), n), np.ones(n)))
        for key, parts in mine.items():
            whole = joined(parts)
            if len(whole.error):
                out.setdefault(key, []).append(whole.weighing(np.full(len(whole.error), 1 / len(whole.error))))
    return {key: joined(parts) for key, parts in out.items()}


Learnt = dict[tuple[Skill, str], list[Correction]]


def learn_frames(taught: Mapping[tuple[Skill, str], Samples]) -> Learnt:
    """The corrections of single frames; of skills that turn over two each."""
    out: Learnt = {}
    for (skill, detail), of in taught.items():
        share = upside_down(of.numbers) if skill in TURNS_OVER else np.zeros(len(of.error))
        out[skill, f"{detail} {EACH}"] = without_fifths(of.weighing(1 - share), STRENGTH, with_mean=True)
        if skill in TURNS_OVER:
            out[skill, f"{detail} {OVERHEAD}"] = without_fifths(of.weighing(share), STRENGTH, with_mean=True)
    return out


def of_fifth(learnt: Learnt, k: int) -> Corrections:
    """What was learnt without fifth k, or from all (0)."""
    return {key: each[k] for key, each in learnt.items()}


def windows_of(clips: Clips, truth: pd.DataFrame, learnt: Learnt) -> Samples | None:
    """What the windows of cartwheels' knees teach, their frames corrected by what other bodies taught."""
    told: list[tuple[np.ndarray, float, str, float]] = []
    knees = truth[(truth.skill == str(Skill.CARTWHEEL)) & (truth.detail == "knee_angle")]
    for r, flat in zip(knees.itertuples(), in_plane(knees[COLUMN]), strict=True):
        track, found = clips.get(r.clip, (None, []))
        mine = [a for a in found if a.skill is Skill.CARTWHEEL and abs((a.start_s + a.end_s - r.start_s - r.end_s) / 2) < MATCH_S]
        if not mine or track is None:
            continue
        scene = make_scene(track, mine[0], learnt=of_fifth(learnt, fifth_of(body_of(r.clip))))
        frames = cartwheel.window_angles(scene, Side(r.side))
        frames = frames[np.isfinite(frames)]
        if len(frames) and looked_at_twice(scene):
            numbers = cartwheel.window_knee(scene, Side(r.side), frames)[2]
            told.append((numbers, r.value - float(np.median(frames)), body_of(r.clip), 1.0 if flat else OUT_OF_PLANE))
    return Samples(*(np.array(column) for column in zip(*told, strict=True))) if told else None


def left_out(of: Samples, predicted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) errors left of each fifth's frames by the others' median, and by predictions (n,) of corrections learnt without it."""
    fifths, before, after = of.fifths, np.empty(len(of.error)), np.empty(len(of.error))
    for k in np.unique(fifths):
        mine = fifths == k
        before[mine] = of.error[mine] - np.median(of.error[~mine])
        after[mine] = of.error[mine] - predicted[mine]
    return before, after


def predicted(of: Samples, learnt: list[Correction], overhead: list[Correction] | None = None) -> np.ndarray:
    """(n,) what is added to each frame by what was learnt without its body's fifth."""
    fifths, out = of.fifths, np.empty(len(of.error))
    for k in np.unique(fifths):
        mine = fifths == k
        out[mine] = blended(of.numbers[mine], learnt[k], overhead[k] if overhead else None)
    return out


def said(of: Samples, after: np.ndarray, name: str) -> str:
    """How far off frames of left-out bodies are, every clip alike."""
    before, after = left_out(of, after)
    mean = [float(np.average(np.abs(e), weights=of.weight)) for e in (before, after)]
    high = [float(np.quantile(np.abs(e), 0.95)) for e in (before, after)]
    return (
        f"{name:45} n {len(of.error):6}  bodies {len(np.unique(of.body)):3}  mean error {mean[0]:.2f} -> {mean[1]:.2f}  "
        f"95th percentile {high[0]:.1f} -> {high[1]:.1f}"
    )


def learn(parts: list[tuple[Path, Clips, pd.DataFrame]]) -> tuple[Learnt, list[str]]:
    """(corrections, lines that say what is gained on left-out bodies) from tuning parts: folder, clips, truth."""
    each = [frames_of(folder, clips) for folder, clips, _ in parts]
    taught = {key: joined([part[key] for part in each if key in part]) for key in LEARNT if any(key in part for part in each)}
    learnt = learn_frames(taught)
    lines = []
    for (skill, detail), of in taught.items():
        both = [learnt.get((skill, f"{detail} {which}")) for which in (EACH, OVERHEAD)]
        after = predicted(of, both[0] or [], both[1])
        lines.append(said(of, after, f"{skill} {detail}, every frame"))
        if skill in TURNS_OVER:
            over = upside_down(of.numbers) > 0.5
            lines.append(said(of.where(over), after[over], f"{skill} {detail}, frames overhead"))
    windows = [w for _, clips, truth in parts if (w := windows_of(clips, truth, learnt)) is not None]
    if windows:
        of = joined(windows)
        key = (Skill.CARTWHEEL, f"knee_angle {WINDOW}")
        learnt[key] = without_fifths(of, WINDOW_STRENGTH, with_mean=True)
        after = predicted(of, learnt[key])
        lines.append(said(of, after, "cartwheel knee over its window"))
        flat = of.weight == 1.0
        lines.append(said(of.where(flat), after[flat], "cartwheel knee over its window, in plane"))
    return learnt, lines


def table_lines(learnt: Learnt, made: str) -> list[str]:
    """The lines of the table."""
    lines = [*ABOUT, f"# {made}", HEADING]
    for key, each in learnt.items():
        lines += rows(key, WINDOW_NAMES if key[1].endswith(WINDOW) else FRAME_NAMES, each, digits=3, with_mean=True)
    return lines
