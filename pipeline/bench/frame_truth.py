"""Hip and knee at every frame, truly and as the curves give them, and the table of what a single frame may be off."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.bench.follow_check import read_truth
from pipeline.bench.scenes import body_of, fifth_of
from pipeline.landmarks.choose import open_choice
from pipeline.landmarks.track import INDEX, Track
from pipeline.measures.curves import FrameTable, curves, followed_side, frame_errors
from pipeline.measures.learnt import corrections
from pipeline.measures.reading import Curve
from pipeline.measures.scene import make_scene
from pipeline.measures.uncertainty import Known, error_table
from pipeline.vocabulary import Side, Skill

FOLLOWED = ("hip_angle", "knee_angle")
COVER, GUESS = 0.95, 5.0
EMPTY: FrameTable = {key: Known(0.0, 1e-6, 1.0, 0) for key in frame_errors()}


def true_angle(world: np.ndarray, skill: Skill, detail: str, side: Side) -> np.ndarray:
    """(n,) degrees from the joints in space, world (n, 33, 3): the knee as a hinge; the hip in the athlete's own side plane, signed, and
    in a cartwheel in space. By cross and dot products, apart from the measures."""

    def joint(part: str) -> np.ndarray:
        return world[:, INDEX[f"{side}_{part}"]]

    if detail == "knee_angle" or skill is Skill.CARTWHEEL:
        a, v, c = ("hip", "knee", "ankle") if detail == "knee_angle" else ("shoulder", "hip", "knee")
        u, w = joint(a) - joint(v), joint(c) - joint(v)
        return np.degrees(np.arctan2(np.linalg.norm(np.cross(u, w), axis=-1), np.sum(u * w, axis=-1)))
    across = world[:, INDEX["left_hip"]] - world[:, INDEX["right_hip"]]
    across = across / np.linalg.norm(across, axis=-1, keepdims=True)
    u, w = joint("shoulder") - joint("hip"), joint("ankle" if skill is Skill.SHOULDER_STAND else "knee") - joint("hip")
    u, w = (x - across * np.sum(x * across, axis=-1, keepdims=True) for x in (u, w))
    return np.mod(np.degrees(np.arctan2(np.sum(np.cross(u, w) * across, axis=-1), np.sum(u * w, axis=-1))), 360)


def frame_rows(folder: Path, clips: Mapping[str, tuple[Track, list[Attempt]]], table: FrameTable, *, unseen: bool = False) -> pd.DataFrame:
    """One row a frame of hip and knee in every attempt found: clip, skill, detail, error (truth minus curve), half-width, and whether the
    hips are truly over the shoulders. `unseen`: with what was learnt of errors at poses without a fifth of the bodies, the clip's among them."""
    out = []
    for stem, (track, found) in clips.items():
        t, _, world = read_truth(folder / "truth" / f"{stem}.csv")
        learnt = corrections(fifth_of(body_of(stem))) if unseen else corrections()
        for attempt in found if not open_choice(track.notes) else []:
            scene = make_scene(track, attempt, learnt=learnt)
            for curve in curves(scene, error_table(), table):
                if curve.detail not in FOLLOWED:
                    continue
                side = curve.side or followed_side(scene)
                nearest, error = missing(t, world, attempt.skill, side, curve)
                known = np.isfinite(error)
                part = {
                    "error": error[known],
                    "half": ((curve.high - curve.low) / 2)[known],
                    "over": _upside_down(world)[nearest][known],
                }
                out.append(pd.DataFrame(part).assign(clip=stem, skill=str(attempt.skill), detail=curve.detail))
    return pd.concat(out, ignore_index=True) if out else pd.DataFrame()


def missing(t: np.ndarray, world: np.ndarray, skill: Skill, side: Side, curve: Curve) -> tuple[np.ndarray, np.ndarray]:
    """((n,) index of the true frame, (n,) degrees from the curve's angle to the truth) at each of a curve's moments."""
    nearest = np.clip(np.searchsorted(t, curve.t - 1e-4), 0, len(t) - 1)
    error = true_angle(world, skill, curve.detail, side)[nearest] - curve.value
    return nearest, (error + 180) % 360 - 180


def _upside_down(world: np.ndarray) -> np.ndarray:
    """(n,) bool: the middle of the hips over that of the shoulders, joints in space (n, 33, 3)."""
    hips, shoulders = (world[:, [INDEX[f"left_{part}"], INDEX[f"right_{part}"]], 2].mean(axis=1) for part in ("hip", "shoulder"))
    return hips > shoulders


def in_the_tuck(rows: pd.DataFrame) -> str:
    """What the knee's angle is off in single frames of a backward roll while the hips are over the shoulders, each clip counting alike,
    and how often its interval there holds the truth. rows: as `frame_rows` gives them."""
    tuck = rows[(rows.skill == str(Skill.BACKWARD_ROLL)) & (rows.detail == "knee_angle") & rows.over] if len(rows) else rows
    if not len(tuck):
        return "knee in the tuck of a backward roll: no frame was read"
    off = tuck.error.abs()
    held = (off <= tuck.half).groupby(tuck["clip"]).mean().mean()
    return (
        f"knee in the tuck of a backward roll, every frame: mean error {off.groupby(tuck['clip']).mean().mean():.1f} degrees, "
        f"95th percentile {off.quantile(0.95):.1f}, bias {-tuck.error.groupby(tuck['clip']).mean().mean():+.1f}, "
        f"held {100 * held:.0f} % ({tuck['clip'].nunique()} clips)"
    )


def learn_frames(rows: pd.DataFrame, least: int) -> FrameTable:
    """What a single frame may be off, from frames measured with the empty table; each clip counts alike however long it is.

    factor: what makes 95 % of all frames' intervals hold the truth. Details seen in fewer than `least` clips keep the committed row.
    """
    out = dict(frame_errors())
    for key in out:
        part = rows[(rows.skill == str(key[0])) & (rows.detail == key[1])] if len(rows) else rows
        n = part["clip"].nunique() if len(part) else 0
        if n < least:
            continue
        weight = (1 / part.groupby("clip").error.transform("size")).to_numpy()
        bias = _quantile(part.error.to_numpy(), weight, 0.5) * n / (n + 4)
        rest = np.abs(part.error.to_numpy() - bias)
        sd = max(1.4826 * _quantile(rest, weight, 0.5), 0.3 * GUESS)
        factor = _quantile(rest / np.hypot(sd, part.half.to_numpy()), weight, COVER)
        out[key] = Known(bias, sd, max(factor, 1.96), n)
    return out


def _quantile(values: np.ndarray, weight: np.ndarray, share: float) -> float:
    order = np.argsort(values)
    return float(values[order][np.searchsorted(np.cumsum(weight[order]), share * weight.sum())])


def frame_coverage(rows: pd.DataFrame) -> str:
    """What single frames are off, and how often their intervals hold the truth, a line a skill and detail."""
    lines = []
    for (skill, detail), part in rows.groupby(["skill", "detail"]):
        inside = (part.error.abs() <= part.half).groupby(part["clip"]).mean().mean()
        lines.append(
            f"every frame, {skill} {detail}: mean error {part.error.abs().mean():.1f}, 95th percentile {part.error.abs().quantile(0.95):.1f}, "
            f"half-width {part.half.mean():.1f} degrees, held {100 * inside:.0f} % ({part['clip'].nunique()} clips)"
        )
    return "\n".join(lines)


def every_frame(rows: pd.DataFrame) -> str:
    """What hip and knee are off at every frame of each skill's attempts, each clip counting alike, and how often their intervals hold the truth.
    rows: as `frame_rows` gives them."""
    if not len(rows):
        return "hip and knee at every frame: no attempt was found"
    each = rows.assign(off=rows.error.abs(), held=rows.error.abs() <= rows.half)
    said = []
    for (skill, detail), mine in each.groupby(["skill", "detail"]):
        clips = mine.groupby("clip")
        said.append(
            f"  {skill} {detail}: mean error {clips.off.mean().mean():.1f} degrees, 95th percentile {mine.off.quantile(0.95):.1f}, "
            f"half-width {clips.half.mean().mean():.1f}, held {100 * clips.held.mean().mean():.0f} % ({len(clips)} clips)"
        )
    return "\n".join(["hip and knee at every frame:", *said])
