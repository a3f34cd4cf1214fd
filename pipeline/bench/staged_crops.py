"""Draw crops of people at skills for tuning a landmark model (needs the extra `render`):

    python -m pipeline.bench staged-crops --out FOLDER [--count 1600] [--each 8] [--workers 14]

Single moments of scenes that the benchmark neither learns tables from nor judges on (`scenes.TAUGHT`; bodies of their own), half of
them from key windows, cut as following cuts them. One file a scene; what is there already is left as it is.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from pipeline.bench.scenes import TAUGHT, scene
from pipeline.landmarks.crops import REACH, SIZE, Crop, cut
from pipeline.landmarks.track import NAMES
from pipeline.landmarks.tuning.labels import JOINTS, LABEL
from pipeline.landmarks.tuning.poses import Kind
from pipeline.landmarks.tuning.staged import write
from pipeline.stage.scene import Acted, Scene, act, pictures
from pipeline.vocabulary import Skill

RADIUS = 0.942  # of the way from the hips to the farthest point of the body, as the family marks its circle
SKIN = 1.06  # how much farther the skin reaches than the landmarks
KIND = {
    Skill.LUNGE: Kind.LUNGE, Skill.LOADED_LUNGE: Kind.LUNGE, Skill.CARTWHEEL: Kind.CARTWHEEL, Skill.BACKWARD_ROLL: Kind.TUCK,
    Skill.SHOULDER_STAND: Kind.SHOULDER_STAND,
}  # fmt: skip
QUALITIES = (30, 90)  # a video's compression, as a JPEG's
LEAST_TORSO = 24.0  # pixels of a body in its crop, seen from square on; smaller ones are nearly hidden by their own limbs' reach


def crops(index: int, each: int) -> tuple[list[np.ndarray], np.ndarray]:
    """Up to `each` crops (256, 256, 3) uint8 RGB of a scene's moments and their LABEL rows."""
    one = scene("tune", index)
    rng = np.random.default_rng([one.seed, 7])
    acted = act(one)
    kinds = _moments(acted, each, rng)
    acted.frames = np.array(sorted(kinds))
    return all_cut(one, acted, kinds, rng)


def all_cut(one: Scene, acted: Acted, kinds: dict[int, Kind], rng: np.random.Generator) -> tuple[list[np.ndarray], np.ndarray]:
    """Crops (256, 256, 3) of a scene's moments, as following cuts them, and their LABEL rows; kinds: what is done at each of `acted.frames`."""
    made, rows = [], []
    for i, picture in zip(acted.frames, pictures(one, acted), strict=True):
        world, quality = np.stack([acted.joints[name][i] for name in NAMES]), int(rng.integers(*QUALITIES))
        flat, _ = acted.camera.project(world, int(i))
        seen = (world - acted.camera.eye[i]) @ acted.camera.turn[i].T
        crop = _crop(flat - 0.5, rng)  # a pixel's middle at whole numbers, as crops are cut
        row = label(seen, flat, crop, float(acted.camera.focal[i]), (one.shot.width, one.shot.height))
        row["kind"], row["height"] = list(Kind).index(kinds[int(i)]), acted.body.height
        if row["torso"] >= LEAST_TORSO:
            made.append(cut(compressed(picture, quality), crop))
            rows.append(row)
    return made, np.array(rows, LABEL)


def compressed(picture: np.ndarray, quality: int) -> np.ndarray:
    """An RGB picture as a JPEG of that quality (0..100) gives it back."""
    import cv2

    coded = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return cv2.imdecode(coded, cv2.IMREAD_COLOR)[:, :, ::-1]


def _moments(acted, each: int, rng: np.random.Generator) -> dict[int, Kind]:
    """Frames of the scene's attempts, and what is done there: half of them from key windows."""
    t, found = acted.movement.t, {}
    for k in range(each):
        attempt = acted.attempts[int(rng.integers(len(acted.attempts)))]
        first, last = attempt.key if k % 2 else (attempt.span.start_s, attempt.span.end_s)
        found[int(np.argmin(np.abs(t - rng.uniform(first, last))))] = KIND[attempt.span.skill]
    return found


def _crop(xy: np.ndarray, rng: np.random.Generator) -> Crop:
    """Around a body (33, 2) picture pixels, off by what following is off by, at times by more."""
    hips = xy[[23, 24]].mean(0)
    up = xy[[11, 12]].mean(0) - hips
    askew = rng.normal(0, 6) if rng.random() < 0.7 else rng.uniform(-35, 35)
    side = REACH * RADIUS * SKIN * np.linalg.norm(xy - hips, axis=1).max() * np.exp(rng.normal(0, 0.09))
    off = rng.normal(0, 0.025, 2) * side
    return Crop(float(hips[0] + off[0]), float(hips[1] + off[1]), float(side), float(np.arctan2(up[0], -up[1]) + np.deg2rad(askew)))


def label(seen: np.ndarray, flat: np.ndarray, crop: Crop, focal: float, size: tuple[int, int]) -> np.ndarray:
    """What is known of a crop: a scalar LABEL. seen: (33, 3) metres right, down, ahead of the phone; flat: (33, 2) picture pixels; focal: pixels."""
    row = np.zeros((), LABEL)
    hips = seen[[23, 24]].mean(0)
    c, s = np.cos(crop.angle), np.sin(crop.angle)
    world = (seen - hips) @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]).T
    per_metre = SIZE / crop.side * focal / hips[2]
    row["xy"] = crop.to_crop(flat - 0.5) + 0.5
    row["world"], row["z"] = world, world[:, 2] * per_metre
    row["seen"] = -1
    row["framed"] = ((flat >= 0) & (flat <= np.array(size))).all(1)
    row["marked"][list(JOINTS)] = 1
    row["torso"] = np.linalg.norm(seen[[11, 12]].mean(0) - hips) * per_metre
    row["whole"], row["person"] = row["framed"].all(), 1
    up = flat[[11, 12]].mean(0) - flat[[23, 24]].mean(0)
    row["tilt"] = np.degrees((crop.angle - np.arctan2(up[0], -up[1]) + np.pi) % (2 * np.pi) - np.pi)
    return row


def draw(index: int, each: int, out: Path) -> int:
    """Draw one scene's crops into `out`, or leave them; how many there are."""
    return drawn_once(out / f"{index:05d}.npz", lambda: crops(index, each))


def drawn_once(path: Path, make: Callable[[], tuple[list[np.ndarray], np.ndarray]]) -> int:
    """Write the crops and rows that `make` gives, or leave what is there; how many were made."""
    if path.exists():
        return 0
    made, rows = make()
    if made:
        write(path, made, rows)
    return len(made)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=1600, help="scenes")
    parser.add_argument("--first", type=int, default=0, help="of them")
    parser.add_argument("--each", type=int, default=8, help="crops a scene")
    parser.add_argument("--workers", type=int, default=1)
    told = parser.parse_args()
    told.out.mkdir(parents=True, exist_ok=True)
    numbers = range(TAUGHT + told.first, TAUGHT + told.first + told.count)
    with ProcessPoolExecutor(told.workers) as pool:
        done = sum(pool.map(draw, numbers, [told.each] * len(numbers), [told.out] * len(numbers)))
    print(f"{told.out}: {done} crops of {told.count} scenes")
    return 0
