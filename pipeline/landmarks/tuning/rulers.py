"""What a model is judged on: crops with the truth in them, cut once, the same for every model.

From clips with known joints (drawn by another renderer than the training pictures): the moments our readings come from. From real
pictures with COCO keypoints: people turned against the crop as following would leave them. From real pictures without people: presence.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError
from pipeline.landmarks.crops import Crop, cut
from pipeline.landmarks.track import NAMES

REACH = 2.5  # side of the crop per radius, as the following room cuts it
RADIUS = 0.942  # of the circle that holds the body, as the family marks it
TUCKED = 110.0  # degrees at either knee below which a roll is tucked
COCO = (0, 2, 5, 7, 8, *range(11, 17), *range(23, 29))  # our landmark of each COCO keypoint
LEAST_KEYPOINTS = 10
TURNS = (0, 4, -4, 8, -8, 30, -30, 90, 180)  # degrees between crop and torso on the real pictures
UPRIGHT = 10  # turns below this are one group: one crop a person gives figures that move by several points with a turn of four degrees
JITTER_DEGREES, JITTER_SCALE = 10.0, 0.1  # of the crops from clips: following is never exact


@dataclass(frozen=True)
class Ruler:
    """n crops; truth NaN where unknown."""

    crops: np.ndarray  # (n, 256, 256, 3) uint8
    truth: np.ndarray  # (n, 33, 2) crop pixels, the first pixel's middle at 0
    torso: np.ndarray  # (n,) crop pixels
    group: np.ndarray  # (n,) what the crop belongs to: "backward_roll", "real 0", "nobody", ...
    near: np.ndarray  # (n,) 0 left side nearer the camera, 1 right, -1 unknown
    source: np.ndarray  # (n,) file

    def save(self, path: Path) -> None:
        np.savez_compressed(path, **self.__dict__)

    @classmethod
    def load(cls, path: Path) -> Ruler:
        """What `save` wrote."""
        if not path.exists():
            raise MatsideError(f"{path}: no ruler. Make it: python -m pipeline.landmarks.tuning ruler --help")
        return cls(**np.load(path))


@dataclass(frozen=True)
class _One:
    crop: np.ndarray
    truth: np.ndarray
    torso: float
    group: str
    near: int
    source: str


def _gather(ones: list[_One]) -> Ruler:
    columns = zip(*((o.crop, o.truth, o.torso, o.group, o.near, o.source) for o in ones), strict=True)
    return Ruler(*(np.array(c) for c in columns))


def body_crop(xy: np.ndarray, *, turn: float = 0.0, scale: float = 1.0, reach: float = 1.0) -> Crop:
    """The crop of a body with known joints (33, 2) picture pixels, turned by `turn` degrees against its torso."""
    hips, shoulders = np.nanmean(xy[23:25], 0), np.nanmean(xy[11:13], 0)
    up = shoulders - hips
    radius = RADIUS * reach * np.nanmax(np.linalg.norm(xy - hips, axis=1))
    return Crop(*hips, REACH * radius * scale, float(np.arctan2(up[0], -up[1]) + np.deg2rad(turn)))


# ---- clips ----


def _times(truth: dict[str, np.ndarray], row: dict[str, str], count: int) -> np.ndarray:
    """Frames to look at in one attempt, spread evenly over its key window; in a roll, over its tucked part."""
    t = truth["t"]
    if row["skill"] == "backward_roll":
        knees = np.min([_angle(truth["xy"], c) for c in ((23, 25, 27), (24, 26, 28))], axis=0)
        within = (t >= float(row["start_s"])) & (t <= float(row["end_s"])) & (knees < TUCKED)
    else:
        within = (t >= float(row["key_start_s"])) & (t <= float(row["key_end_s"]))
    found = np.flatnonzero(within)
    return found[np.linspace(0, len(found) - 1, min(count, len(found))).astype(int)] if len(found) else found


def _angle(xy: np.ndarray, corners: tuple[int, int, int]) -> np.ndarray:
    u, v = xy[:, corners[0]] - xy[:, corners[1]], xy[:, corners[2]] - xy[:, corners[1]]
    return np.degrees(np.arctan2(abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]), (u * v).sum(1)))


def _read_truth(path: Path) -> dict[str, np.ndarray]:
    with path.open(newline="") as file:
        reader = csv.reader(file)
        header = {name: k for k, name in enumerate(next(reader))}
        table = np.array([[float(c) if c else np.nan for c in row] for row in reader])
    xy = np.stack([table[:, [header[f"{n}_x"], header[f"{n}_y"]]] for n in NAMES], 1)
    world = np.stack([table[:, [header[f"{n}_w{a}"] for a in "xyz"]] for n in NAMES], 1)
    return {"t": table[:, header["t"]], "xy": xy, "world": world}


def _nearer_side(xy: np.ndarray, world: np.ndarray) -> np.ndarray:
    """(n,) 0 where the left hip is nearer to the camera, 1 the right: depth by the camera that best explains the points (linear)."""
    image, space = xy.reshape(-1, 2)[::7], world.reshape(-1, 3)[::7]
    whole = np.isfinite(image).all(1) & np.isfinite(space).all(1)
    image, space = image[whole], np.c_[space[whole], np.ones(whole.sum())]
    image = (image - image.mean(0)) / image.std()
    none = np.zeros_like(space)
    rows = np.r_[np.c_[space, none, -image[:, :1] * space], np.c_[none, space, -image[:, 1:] * space]]
    axis = np.linalg.svd(rows, full_matrices=False)[2][-1][8:]
    depth = world @ axis[:3] + axis[3]
    depth = depth if np.median(depth) > 0 else -depth
    return (depth[:, 24] < depth[:, 23]).astype(int)


def clip_ruler(clips: Path, truth: Path, table: Path, *, a_clip: int = 6, seed: int = 1) -> Ruler:
    """Crops from drawn clips: `table` is a truth.csv (one row a reading), `truth` a folder with the joints of each clip."""
    from pipeline.clips.video import frames

    rng, ones = np.random.default_rng(seed), []
    attempts: dict[str, dict[str, dict[str, str]]] = {}
    with table.open(newline="") as file:
        for row in csv.DictReader(file):
            attempts.setdefault(row["clip"], {})[row["attempt"]] = row
    for name, of_clip in sorted(attempts.items()):
        known = _read_truth(truth / f"{Path(name).stem}.csv")
        near = _nearer_side(known["xy"], known["world"])
        wanted = {int(k): row["skill"] for row in of_clip.values() for k in _times(known, row, a_clip)}
        for frame in frames(clips / name):
            k = int(np.argmin(abs(known["t"] - frame.t)))
            if wanted and k in wanted and abs(known["t"][k] - frame.t) < 0.01:
                xy = known["xy"][k]
                crop = body_crop(xy, turn=rng.uniform(-1, 1) * JITTER_DEGREES, scale=np.exp(rng.uniform(-1, 1) * JITTER_SCALE))
                at = crop.to_crop(xy)
                torso = float(np.linalg.norm(at[11:13].mean(0) - at[23:25].mean(0)))
                ones.append(_One(cut(frame.image, crop), at, torso, wanted.pop(k), int(near[k]), name))
            if not wanted:
                break
    return _gather(ones)


# ---- real pictures ----


def picture_ruler(folder: Path, *, turns: tuple[int, ...] = TURNS) -> Ruler:
    """Crops of people with keypoints in `folder/coco_keypoints.json`: groups "real 0" (turned by up to 8 degrees), "real 30", ... by the crop's turn.

    COCO marks what annotators took for the joints, not joint centres: compare hips and shoulders with both conventions.
    """
    import cv2

    listed = json.loads((folder / "coco_keypoints.json").read_text())
    names, ones = {i["id"]: i["file_name"] for i in listed["images"]}, []
    for person in listed["annotations"]:
        points = np.array(person["keypoints"], float).reshape(17, 3)
        whole = (points[[5, 6, 11, 12], 2] > 0).all()
        if person["num_keypoints"] < LEAST_KEYPOINTS or not whole or person["iscrowd"]:
            continue
        image = cv2.imread(str(folder / names[person["image_id"]]))[:, :, ::-1]
        xy = np.full((33, 2), np.nan)
        for keypoint, landmark in zip(points, COCO, strict=True):
            if keypoint[2] > 0:
                xy[landmark] = keypoint[:2]
        for turn in turns:
            crop = body_crop(xy, turn=turn, reach=1.15)  # the farthest keypoint is an ankle or a wrist, not a toe or a finger
            at = crop.to_crop(xy)
            torso = float(np.linalg.norm(at[11:13].mean(0) - at[23:25].mean(0)))
            if torso > 12:
                ones.append(
                    _One(cut(image, crop), at, torso, f"real {abs(turn) if abs(turn) > UPRIGHT else 0}", -1, names[person["image_id"]])
                )
    return _gather(ones)


def _windows(image: np.ndarray, rng: np.random.Generator, count: int) -> Iterator[Crop]:
    height, width = image.shape[:2]
    for _ in range(count):
        side = min(height, width) * rng.uniform(0.5, 1.1)
        yield Crop(rng.uniform(0.3, 0.7) * width, rng.uniform(0.3, 0.7) * height, side, rng.uniform(-np.pi, np.pi))


def nobody_ruler(pictures: list[Path], *, each: int = 8, seed: int = 1) -> Ruler:
    """Random crops of pictures in which there is no person."""
    import cv2

    rng, ones = np.random.default_rng(seed), []
    for path in pictures:
        image = cv2.imread(str(path), cv2.IMREAD_COLOR)
        if image is None:
            raise MatsideError(f"{path}: cannot be read as a picture.")
        for crop in _windows(image, rng, each):
            ones.append(_One(cut(image[:, :, ::-1], crop), np.full((33, 2), np.nan), np.nan, "nobody", -1, path.name))
    return _gather(ones)
