"""How well the athlete is found and followed, on clips with known joints, beside a plain mediapipe video loop.

    python -m pipeline.bench.follow_check sample_data/clips sample_data/truth --plain

One row a clip: share of frames on the right person (shoulders, hips, knees and ankles all within 0.6 torso of the truth;
a frame without the athlete counts as wrong), median error of each joint in % of the torso, median error of the nearer
side's hip and knee angle, milliseconds of processor
time a frame.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.clips.video import frames, probe
from pipeline.errors import MatsideError
from pipeline.landmarks.paths import torso
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import INDEX, NAMES, N, Track

RIGHT_PERSON = 0.6  # torsos
JOINTS = ("shoulder", "hip", "knee", "ankle", "elbow", "wrist")
OTHER_SIDE = np.array([INDEX[n.replace("left", "\0").replace("right", "left").replace("\0", "right")] for n in NAMES])
EIGHT = [INDEX[f"{side}_{joint}"] for joint in ("shoulder", "hip", "knee", "ankle") for side in ("left", "right")]


def read_truth(file: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(t (n,), xy (n, 33, 2) display pixels, world (n, 33, 3) metres) of one clip."""
    table = pd.read_csv(file)
    xy = np.stack([table[[f"{n}_x", f"{n}_y"]].to_numpy(float) for n in NAMES], axis=1)
    world = np.stack([table[[f"{n}_wx", f"{n}_wy", f"{n}_wz"]].to_numpy(float) for n in NAMES], axis=1)
    return table["t"].to_numpy(float), xy, world


def depths(xy: np.ndarray, world: np.ndarray) -> np.ndarray:
    """(n, 33) distance along the view, up to scale, from the camera that best explains the points (direct linear transform)."""
    image, space = xy.reshape(-1, 2), world.reshape(-1, 3)
    keep = np.isfinite(image).all(1) & np.isfinite(space).all(1)
    image, space = image[keep][::7], space[keep][::7]
    middle, spread = image.mean(0), image.std()
    image = (image - middle) / spread
    homogeneous = np.c_[space, np.ones(len(space))]
    zero = np.zeros_like(homogeneous)
    rows = np.r_[np.c_[homogeneous, zero, -image[:, :1] * homogeneous], np.c_[zero, homogeneous, -image[:, 1:] * homogeneous]]
    camera = np.linalg.svd(rows, full_matrices=False)[2][-1].reshape(3, 4)
    depth = world @ camera[2, :3] + camera[2, 3]
    return depth if np.nanmedian(depth) > 0 else -depth


def angle(a: np.ndarray, vertex: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Degrees at `vertex`, 0 folded to 180 straight."""
    u, v = a - vertex, c - vertex
    u, v = u / np.linalg.norm(u, axis=-1, keepdims=True), v / np.linalg.norm(v, axis=-1, keepdims=True)
    return np.degrees(2 * np.arctan2(np.linalg.norm(u - v, axis=-1), np.linalg.norm(u + v, axis=-1)))


def compare(t: np.ndarray, xy: np.ndarray, truth: tuple[np.ndarray, np.ndarray, np.ndarray]) -> dict[str, float]:
    """The figures of one clip. `xy` (m, 33, 2) at times `t`; a frame of the truth is met by the nearest frame within 20 ms."""
    true_t, true_xy, world = truth
    seen, trunk = _met(t, xy, true_t), _trunk(true_xy)
    error = np.linalg.norm(seen - true_xy, axis=2) / trunk
    right = (np.nan_to_num(error[:, EIGHT], nan=9) < RIGHT_PERSON).all(1)
    out = {
        "right %": 100 * right.mean(),
        "person %": 100 * on_the_right_person(t, xy, truth).mean(),
        "seen %": 100 * np.isfinite(seen[:, EIGHT[0], 0]).mean(),
    }
    for joint in JOINTS:
        out[joint] = (
            100 * float(np.nanmedian(error[right][:, [INDEX[f"left_{joint}"], INDEX[f"right_{joint}"]]])) if right.any() else np.nan
        )
    depth = depths(true_xy, world)
    for name, chain in (("hip deg", ("shoulder", "hip", "knee")), ("knee deg", ("hip", "knee", "ankle"))):
        sides = []
        for side in ("left", "right"):
            points = [INDEX[f"{side}_{joint}"] for joint in chain]
            off = angle(*(seen[:, p] for p in points)) - angle(*(true_xy[:, p] for p in points))
            sides.append((depth[:, points[1]], off))
        off = np.where(sides[0][0] <= sides[1][0], sides[0][1], sides[1][1])
        out[name] = float(np.nanmedian(np.abs(off))) if np.isfinite(off).any() else np.nan
        out[name + " bias"] = float(np.nanmedian(off)) if np.isfinite(off).any() else np.nan
    return out


def on_the_right_person(t: np.ndarray, xy: np.ndarray, truth: tuple[np.ndarray, np.ndarray, np.ndarray]) -> np.ndarray:
    """(n,) bool, of each frame of the truth: all EIGHT joints lie within RIGHT_PERSON of the athlete's, left and right told apart or not."""
    true_t, true_xy, _ = truth
    seen, trunk = _met(t, xy, true_t), _trunk(true_xy)
    named, crossed = (np.linalg.norm(seen - points, axis=2)[:, EIGHT] / trunk for points in (true_xy, true_xy[:, OTHER_SIDE]))
    return (np.nan_to_num(np.fmin(named, crossed), nan=9) < RIGHT_PERSON).all(1)


def in_the_picture(truth: tuple[np.ndarray, np.ndarray, np.ndarray], size: tuple[int, int]) -> np.ndarray:
    """(n,) bool, of each frame of the truth: all EIGHT joints lie within a picture of (width, height) pixels."""
    points = truth[1][:, EIGHT]
    return ((points >= 0) & (points <= np.array(size))).all(axis=(1, 2))


def joints_told(t: np.ndarray, xy: np.ndarray, truth: tuple[np.ndarray, np.ndarray, np.ndarray]) -> np.ndarray:
    """(n,) bool, of each frame of the truth: a body is told there, right or wrong: all EIGHT joints have a place. The others are gaps."""
    return np.isfinite(_met(t, xy, truth[0])[:, EIGHT]).all(axis=(1, 2))


def _met(t: np.ndarray, xy: np.ndarray, true_t: np.ndarray) -> np.ndarray:
    """(n, 33, 2) what was seen in the frame nearest to each of the truth; NaN where none is within 20 ms."""
    nearest = np.clip(np.searchsorted(t, true_t - 1e-6), 0, len(t) - 1)
    previous = np.maximum(nearest - 1, 0)
    nearest = np.where(np.abs(t[previous] - true_t) < np.abs(t[nearest] - true_t), previous, nearest)
    seen = xy[nearest].copy()
    seen[np.abs(t[nearest] - true_t) > 0.02] = np.nan
    return seen


def _trunk(true_xy: np.ndarray) -> float:
    """Pixels from the shoulders' to the hips' middle, as a clip's median."""
    return float(np.nanmedian(torso(true_xy)))


def plain_loop(path: Path, model: str) -> Track:
    """What mediapipe's PoseLandmarker gives in VIDEO mode, one person, nothing of ours."""
    import mediapipe as mp

    from pipeline.landmarks import models

    vision = mp.tasks.vision
    options = vision.PoseLandmarkerOptions(
        base_options=mp.tasks.BaseOptions(model_asset_path=str(models.task_bundle(models.landmark_model(model)))),
        running_mode=vision.RunningMode.VIDEO,
    )
    video = probe(path)
    t, points = [], []
    with vision.PoseLandmarker.create_from_options(options) as landmarker:
        for frame in frames(path):
            found = landmarker.detect_for_video(
                mp.Image(image_format=mp.ImageFormat.SRGB, data=frame.image), round(frame.t * 1000)
            ).pose_landmarks
            t.append(frame.t)
            points.append([(p.x, p.y, p.z, p.visibility) for p in found[0]] if found else np.full((N, 4), np.nan))
    n, size = len(t), (video.width, video.height)
    seen = np.array(points, float).reshape(n, N, 4)
    xy, z = seen[..., :2] * np.array(size), seen[..., 2] * video.width  # z comes in widths of the picture
    return Track(np.array(t), xy, z, seen[..., 3], np.isfinite(seen[:, 0, 0]).astype(float), np.full((n, N), np.nan), size, path.name)


def timed(work: Callable[[], Track]) -> tuple[Track, float]:
    """The track, and the milliseconds of processor time a frame took (all threads; other work on the machine does not count)."""
    start = time.process_time()
    track = work()
    return track, 1000 * (time.process_time() - start) / max(len(track), 1)


def check(path: Path, truth_file: Path, settings: LandmarkSettings, *, plain: bool, cache: Path | None = None) -> dict[str, float | str]:
    """The row of one clip; with the plain loop's figures where asked for. With `cache`, tracks are kept there and the time is no measure."""
    from pipeline.attempts.followed import follow, followed
    from pipeline.clips.content import content_hash

    def work() -> Track:
        if cache is not None:
            return followed(path, content_hash(path), settings, cache, source=path.name)
        return follow(path, settings, source=path.name)

    truth = read_truth(truth_file)
    track, ms = timed(work)
    row: dict[str, float | str] = {"clip": path.stem, **compare(track.t, track.xy, truth), "ms": ms}
    if plain:
        other, plain_ms = timed(lambda: plain_loop(path, settings.model))
        figures = compare(other.t, other.xy, truth)
        row |= {f"plain {k}": figures[k] for k in ("right %", "hip deg", "knee deg")} | {"plain ms": plain_ms, "ratio": ms / plain_ms}
    return row


def main() -> None:
    """See the module's words."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("clips", type=Path, help="folder of clips")
    parser.add_argument("truth", type=Path, help="folder of the true joints, one CSV a clip of the same name")
    parser.add_argument("--model", default="tuned", help="landmark model")
    parser.add_argument("--only", default="*", help="pattern of clip names")
    parser.add_argument("--plain", action="store_true", help="run the plain loop as well")
    parser.add_argument("--cache", type=Path, help="folder of tracks made before; new ones are kept there (the time then says nothing)")
    parser.add_argument("--quiet", action="store_true", help="only the means")
    parser.add_argument("--out", type=Path, help="also write the table as CSV")
    options = parser.parse_args()
    settings = LandmarkSettings(model=options.model)
    rows = []
    for path in sorted(options.clips.glob(options.only)):
        file = options.truth / f"{path.stem}.csv"
        if not file.is_file():
            continue
        try:
            row = check(path, file, settings, plain=options.plain, cache=options.cache)
        except MatsideError as error:
            print(error)
            continue
        rows.append(row)
        if options.quiet:
            continue
        print(pd.DataFrame([row]).round(1).to_string(index=False, header=len(rows) == 1), flush=True)
    table = pd.DataFrame(rows)
    if len(table):
        print("\nmean\n" + table.drop(columns="clip").mean().round(1).to_string())
        right = table["right %"]
        print(
            f"clips {len(table)}; 99 % right or more {(right >= 99).sum()}, under 90 % {(right < 90).sum()}, under 70 % {(right < 70).sum()}"
        )
    if options.out:
        table.to_csv(options.out, index=False)


if __name__ == "__main__":
    main()
