"""The readings furthest off, and pictures of them to look at: what was seen, over what is true."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.bench.follow_check import read_truth
from pipeline.clips.video import frames
from pipeline.landmarks.track import INDEX, Track

BONES = [(f"{s}_{a}", f"{s}_{b}") for s in ("left", "right") for a, b in (
    ("shoulder", "elbow"), ("elbow", "wrist"), ("shoulder", "hip"), ("hip", "knee"), ("knee", "ankle"), ("ankle", "heel"), ("heel", "foot_index"))]  # fmt: skip
BONES += [("left_shoulder", "right_shoulder"), ("left_hip", "right_hip")]
TRUE, SEEN_LEFT, SEEN_RIGHT = (60, 220, 60), (255, 170, 0), (0, 130, 255)  # RGB
LONGEST = 720  # pixels


def furthest(rows: pd.DataFrame, n: int) -> pd.DataFrame:
    """The n readings furthest off, each detail's errors in units of its own mean absolute error; at most two of a clip."""
    read = rows[rows.reading.notna()].copy()
    read["error"] = read.reading - read.true
    usual = read.groupby(["skill", "detail"]).error.transform(lambda e: e.abs().mean())
    read["times_usual"] = read.error.abs() / usual.clip(lower=1e-6)
    read = read.sort_values("times_usual", ascending=False)
    return read[read.groupby("clip").cumcount() < 2].head(n)[
        ["clip", "skill", "detail", "side", "true", "reading", "low", "high", "error", "times_usual", "at_s"]
    ]


def draw(folder: Path, worst: pd.DataFrame, tracks: Mapping[str, Track], out: Path) -> list[Path]:
    """One JPEG a row: the frame read, the true joints in green, those seen in orange (left) and blue (right)."""
    import cv2

    out.mkdir(parents=True, exist_ok=True)
    files = []
    for number, row in enumerate(worst.itertuples(), start=1):
        clip = next(iter(sorted((folder / "clips").glob(f"{row.clip}.*"))))
        track, (t, xy, _) = tracks[row.clip], read_truth(folder / "truth" / f"{row.clip}.csv")
        at = row.at_s if np.isfinite(row.at_s) else float(np.median(track.t))
        frame = next((f for f in frames(clip, longest_side=LONGEST) if f.t >= at - 1e-3), None)
        if frame is None:
            continue
        image = frame.image.copy()
        _skeleton(image, xy[np.argmin(np.abs(t - frame.t))] * frame.scale, TRUE, TRUE)
        _skeleton(image, track.xy[np.argmin(np.abs(track.t - frame.t))] * frame.scale, SEEN_LEFT, SEEN_RIGHT)
        words = f"{row.detail} {row.side} true {row.true:.1f} read {row.reading:.1f} [{row.low:.1f}, {row.high:.1f}]"
        cv2.putText(image, words, (8, 20), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (255, 255, 255), 3, cv2.LINE_AA)
        cv2.putText(image, words, (8, 20), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (0, 0, 0), 1, cv2.LINE_AA)
        file = out / f"{number:02d}_{row.clip}_{row.detail}{'_' + row.side if row.side else ''}.jpg"
        cv2.imwrite(str(file), image[..., ::-1])
        files.append(file)
    return files


def _skeleton(image: np.ndarray, xy: np.ndarray, left: tuple[int, int, int], right: tuple[int, int, int]) -> None:
    import cv2

    for a, b in BONES:
        p, q = xy[INDEX[a]], xy[INDEX[b]]
        if np.isfinite(p).all() and np.isfinite(q).all():
            cv2.line(
                image,
                np.round(p).astype(int).tolist(),
                np.round(q).astype(int).tolist(),
                left if a.startswith("left") else right,
                2,
                cv2.LINE_AA,
            )
