"""How far off a held angle is read at such a pose, seen so: a small correction learnt on drawn clips, made before the table's bias.

Landmarks err alike where poses and views are alike: a back knee under a lowered hip, a trunk seen a little from behind. So the middle
pose over the key window (shoulders to toes of both sides in the trunk's own frame, their depth, limbs' lengths and bends, the view, the
body's size and slant) tells a part of each reading's error: ridge regression, a weight a number, made by
`python -m pipeline.bench pose-errors`. What the network of the near look makes of the hold beyond its points (the layer before its heatmaps
at the joints, its points in space) tells another part, on another renderer's pictures as well: clothes hide where a hip lies, not how they
fall about it. The head takes no part, for drawn necks are all alike. Each number counts at most BEYOND sds
from its mean and the whole at most as much as the table says, so that a pose that was never seen is hardly corrected. Joints that no
network has looked at twice, such as true ones, are left as they are.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipeline.geometry import joint_angle, length, middle
from pipeline.landmarks.net import FEATURES
from pipeline.landmarks.track import INDEX
from pipeline.measures.uncertainty import Evidence
from pipeline.vocabulary import Side, Skill

if TYPE_CHECKING:
    from pipeline.measures.scene import Scene

TABLE = Path(__file__).with_name("pose_errors.csv")
FRAMES_TABLE = Path(__file__).with_name("frame_pose_errors.csv")  # of what is corrected frame by frame, see learnt_frames.py
PARTS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "foot_index")
SIDES = ("own", "other")  # the side that is read, and the other one
LIMBS = {
    "thigh": ("hip", "knee"),
    "shank": ("knee", "ankle"),
    "upper_arm": ("shoulder", "elbow"),
    "forearm": ("elbow", "wrist"),
    "foot": ("ankle", "foot_index"),
}
BENDS = {"hip": ("shoulder", "hip", "knee"), "knee": ("hip", "knee", "ankle"), "shoulder": ("elbow", "shoulder", "hip"),
         "elbow": ("shoulder", "elbow", "wrist"), "ankle": ("knee", "ankle", "foot_index")}  # fmt: skip
NAMES = (
    *(f"{side}_{part}_{axis}" for part in PARTS for side in SIDES for axis in ("ahead", "up")),
    *(f"{side}_{part}_deep" for part in PARTS for side in SIDES),
    "size", "off_square", "trunk_up", "trunk_ahead", "trunk_length",
    *(f"{side}_{limb}_length" for side in SIDES for limb in LIMBS),
    *(f"{side}_thigh_to_shank" for side in SIDES),
    *(f"{side}_{joint}_bend" for side in SIDES for joint in BENDS),
)  # fmt: skip
HOLD_NAMES = (*NAMES, *(f"feature_{i}" for i in range(2 * FEATURES)))  # of a hold: see scene.word_of
BEYOND = 3.0  # sds
DEEP = 0.3  # of the landmarks' depth, which is three times too deep
TWICE = 0.5  # of the key window's frames that must have been looked at twice
MOST = "at most"  # the table's row of the largest correction
ALWAYS = "on average"  # its row of what is added at a usual pose, where there is one
PARTS_LEFT_OUT = 5  # columns 1 to 5 of the table: learnt without that fifth of the bodies, for calibrating


@dataclass(frozen=True)
class Correction:
    """Of one detail: numbers' mean and sd (k,), their weights (k,) in the detail's unit a sd, the largest correction, and what is added
    at a usual pose."""

    mean: np.ndarray
    sd: np.ndarray
    weight: np.ndarray
    most: float
    always: float = 0.0

    def of(self, numbers: np.ndarray) -> float:
        """What to add to a reading at a pose (k,); a number that is not known counts as usual."""
        return float(self.each(numbers))

    def each(self, numbers: np.ndarray) -> np.ndarray:
        """(...,) what to add at poses (..., k)."""
        return self.always + np.clip(standard(numbers, self.mean, self.sd) @ self.weight, -self.most, self.most)


Corrections = Mapping[tuple[Skill, str], Correction]


@lru_cache(maxsize=8)
def corrections(without: int = 0, *paths: Path) -> Corrections:
    """The committed tables, or those of `paths`, learnt from all bodies, or `without` (1 to PARTS_LEFT_OUT) a fifth of them."""
    return {key: correction for path in paths or (TABLE, FRAMES_TABLE) for key, correction in _read(path, str(without)).items()}


def _read(path: Path, column: str) -> dict[tuple[Skill, str], Correction]:
    if not path.is_file():
        return {}
    with path.open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    out: dict[tuple[Skill, str], Correction] = {}
    for (skill, detail), mine in groupby(rows, key=lambda r: (r["skill"], r["detail"])):
        said = {r["number"]: r for r in mine}
        whole = {name: float(said.pop(name)[column]) for name in (MOST, ALWAYS) if name in said}
        mean, sd, weight = (np.array([float(r[c]) for r in said.values()]) for c in ("mean", "sd", column))
        out[Skill(skill), detail] = Correction(mean, sd, weight, whole[MOST], whole.get(ALWAYS, 0.0))
    return out


def standard(numbers: np.ndarray, mean: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """Numbers (..., k) in sds from their mean, at most BEYOND; 0 where one is not known."""
    return np.clip(np.nan_to_num((numbers - mean) / sd), -BEYOND, BEYOND)


def in_trunks(scene: Scene, own: Side) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Joints of every frame in the trunk's own frame: placed (n, 16, 2) about the middle of the hips in trunks, `ahead` the way she faces
    (from the front, towards the side that is read) and `up` along the trunk; deep (n, 16); and (n, 5) the body's size as log of 90 pixels
    a trunk, the view in 30 degrees, the trunk's slant and length."""
    ahead = scene.facing if scene.skill is not Skill.CARTWHEEL else (1 if own is Side.LEFT else -1)
    sides = (own, Side.RIGHT if own is Side.LEFT else Side.LEFT)
    hips, shoulders = (middle(scene.p(Side.LEFT, part), scene.p(Side.RIGHT, part)) for part in ("hip", "shoulder"))
    trunk = length(shoulders, hips)
    with np.errstate(invalid="ignore", divide="ignore"):
        up = (shoulders - hips) / trunk[:, None]
    axes = np.stack([np.stack([-up[:, 1], up[:, 0]], axis=1) * ahead, up], axis=1)  # (n, 2, 2) ahead and up, in the picture
    i = [INDEX[f"{side}_{part}"] for part in PARTS for side in sides]
    placed = np.einsum("nij,nkj->nki", axes, scene.xy[:, i] - hips[:, None]) / scene.unit
    same = np.ones(len(trunk))
    whole = (np.log(scene.unit / 90.0) * same, scene.off_square / 30.0 * same, up[:, 1], up[:, 0] * ahead, trunk / scene.unit)
    return placed, DEEP * scene.z[:, i] / scene.unit, np.stack(whole, axis=1)


def pose_numbers(scene: Scene, own: Side) -> np.ndarray:
    """(k,) the numbers of NAMES over the key window: medians of what `in_trunks` gives, then the limbs at those, see `shape`."""
    placed, deep, whole = (_median(part[scene.key]) for part in in_trunks(scene, own))
    return np.concatenate([placed.ravel(), deep, whole, shape(placed)])


def hold_numbers(scene: Scene, own: Side) -> np.ndarray:
    """(k,) the numbers of HOLD_NAMES: of the pose, and the near look's features."""
    return np.concatenate([pose_numbers(scene, own), scene.features])


def shape(at: np.ndarray) -> np.ndarray:
    """(..., 22) the limbs' lengths, the thighs' in shanks and the joints' angles of points (..., 16, 2) in the order of NAMES: what
    straight weights of places do not give, a limb that comes at the camera among it."""
    spot = {(side, part): at[..., 2 * i + k, :] for i, part in enumerate(PARTS) for k, side in enumerate(SIDES)}
    lengths = np.stack([length(spot[side, a], spot[side, b]) for side in SIDES for a, b in LIMBS.values()], axis=-1)
    thigh, shank = (lengths[..., [i, i + len(LIMBS)]] for i in (0, 1))
    with np.errstate(invalid="ignore", divide="ignore"):
        thighs = thigh / shank
    bends = np.stack([joint_angle(*(spot[side, part] for part in corner)) for side in SIDES for corner in BENDS.values()], axis=-1)
    return np.concatenate([lengths, thighs, bends], axis=-1)


def put_right(scene: Scene, detail: str, own: Side, evidence: Evidence) -> Evidence:
    """The evidence with its value corrected by what was learnt of such poses; unchanged where nothing was, or nothing was read.

    own: the side whose limb is read (in a lunge the back leg's).
    """
    learnt = scene.learnt.get((scene.skill, detail))
    if learnt is None or evidence.problem or not np.isfinite(evidence.value) or not looked_at_twice(scene):
        return evidence
    numbers = hold_numbers(scene, own)[: len(learnt.mean)]  # a table may know the pose alone
    return replace(evidence, value=evidence.value + learnt.of(numbers))


def looked_at_twice(scene: Scene) -> bool:
    """Whether the key window's hips and knees come from two looks of a network, which never agree to the last digit."""
    joints = [INDEX[f"{side}_{part}"] for side in (Side.LEFT, Side.RIGHT) for part in ("hip", "knee")]
    with np.errstate(invalid="ignore"):
        twice = scene.disagreement[scene.key][:, joints] > 0
    return bool(twice.size and twice.mean() > TWICE)


def _median(values: np.ndarray) -> np.ndarray:
    """Along the frames; NaN where none is known."""
    known = np.isfinite(values).any(axis=0)
    return np.where(known, np.nanmedian(np.where(known, values, 0.0), axis=0), np.nan)
