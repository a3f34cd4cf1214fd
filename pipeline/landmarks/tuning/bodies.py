"""Bodies to draw: made once from the parametric body (extra `tune`), then read as plain arrays with everything drawing needs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError

HELD_OUT = 6  # every sixth body is only ever drawn for checking

# Which skin region a bone's vertices belong to; clothes are cut along these.
TORSO, UPPER_ARM, LOWER_ARM, HAND, PELVIS, THIGH, SHANK, FOOT, NECK, HEAD, HAIR, EYE, UPPER_THIGH = range(13)
_REGION_OF_BONE = (
    (("upperarm",), UPPER_ARM), (("lowerarm",), LOWER_ARM), (("wrist", "finger", "metacarpal"), HAND), (("upperleg01",), UPPER_THIGH),
    (("upperleg",), THIGH), (("lowerleg",), SHANK), (("foot", "toe"), FOOT), (("neck",), NECK), (("eye",), EYE),
    (("head", "jaw", "tongue", "orbicularis", "oris", "levator", "risorius", "special", "temporalis"), HEAD), (("root", "pelvis", "spine05"), PELVIS),
)  # fmt: skip


def make_bodies(path: Path, *, count: int = 42, seed: int = 5) -> None:
    """Write `count` rest bodies to `path` (.npz): three in five children of about 5-11, the others teenagers and adults.

    The body model's `age` runs 0 (newborn) to 1 (old), with 1/3 a child of about 1.4 m; its data is CC0.
    """
    try:
        import anny
        import torch
    except ImportError as missing:
        raise MatsideError(
            f"tuning: making bodies needs the package {missing.name!r}. Install the extra: pip install 'matside[tune]'."
        ) from None
    model, rng = anny.Anny(), np.random.default_rng(seed)
    ages = ((0.16, 0.26), (0.22, 0.34), (0.30, 0.43), (0.43, 0.55), (0.58, 0.85))  # the first three: about 1.0-1.5 m
    straight = torch.eye(4, dtype=torch.float64)[None, None].repeat(1, model.bone_count, 1, 1)
    vertices, heads, phenotypes = [], [], []
    for i in range(count):
        phenotype = {
            "age": rng.uniform(*ages[i % len(ages)]), "gender": float(rng.choice([0.0, 1.0, rng.uniform()], p=[0.35, 0.3, 0.35])),
            "weight": rng.uniform(0.15, 0.8), "height": rng.uniform(0.2, 0.8), "muscle": rng.uniform(0.2, 0.85), "proportions": rng.uniform(0.15, 0.9),
        }  # fmt: skip
        with torch.no_grad():
            body = model(pose_parameters=straight, phenotype_kwargs=phenotype)
        vertices.append(body["rest_vertices"][0].numpy())
        heads.append(body["rest_bone_heads"][0].numpy())
        phenotypes.append(list(phenotype.values()))
    np.savez_compressed(
        path, vertices=np.array(vertices, np.float16), heads=np.array(heads, np.float32), faces=np.asarray(model.faces, np.uint16),
        bone_of=model.vertex_bone_indices.numpy().astype(np.uint8), weight=model.vertex_bone_weights.numpy().astype(np.float16),
        bones=np.array(list(model.bone_labels)), parents=np.array(model.bone_parents, np.int16), phenotypes=np.array(phenotypes, np.float32),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Bodies:
    """Rest bodies of one topology, arms hanging out to the sides. Body frame: x to the body's left, y to the back, z up; metres."""

    vertices: np.ndarray  # (bodies, v, 3) float32
    heads: np.ndarray  # (bodies, bones, 3) where each bone begins: the joint centres
    faces: np.ndarray  # (f, 3) int32
    bone_of: np.ndarray  # (v, k) uint8
    weight: np.ndarray  # (v, k) float32, rows sum to 1
    bones: tuple[str, ...]
    parents: tuple[int, ...]  # -1 for the root; parents come before children

    @classmethod
    def load(cls, path: Path) -> Bodies:
        """From the .npz file that `tuning bodies` makes. Raises MatsideError where it is not there."""
        if not Path(path).exists():
            raise MatsideError(f"tuning: no bodies at {path}. Make them: python -m pipeline.landmarks.tuning bodies --out {path}")
        d = np.load(path)
        weight = d["weight"].astype(np.float32)
        return cls(
            d["vertices"].astype(np.float32), d["heads"].astype(float), np.ascontiguousarray(d["faces"], np.int32),
            np.ascontiguousarray(d["bone_of"]), np.ascontiguousarray(weight / weight.sum(1, keepdims=True)),
            tuple(str(b) for b in d["bones"]), tuple(int(p) for p in d["parents"]),
        )  # fmt: skip

    def __len__(self) -> int:
        return len(self.vertices)

    @cached_property
    def index(self) -> dict[str, int]:
        return {name: i for i, name in enumerate(self.bones)}

    @cached_property
    def height(self) -> np.ndarray:
        """(bodies,) metres."""
        return np.ptp(self.vertices[:, :, 2], axis=1)

    def members(self, *, held_out: bool) -> list[int]:
        """The bodies for training, or those kept for checking."""
        return [i for i in range(len(self)) if (i % HELD_OUT == HELD_OUT - 1) == held_out]

    @cached_property
    def _owner(self) -> np.ndarray:
        """(v,) name of the bone that moves each vertex most."""
        return np.array(self.bones)[self.bone_of[np.arange(len(self.bone_of)), self.weight.argmax(1)]]

    @cached_property
    def region(self) -> np.ndarray:
        """(v,) int: TORSO, UPPER_ARM, ... of each vertex."""
        out = np.zeros(len(self.bone_of), np.int32)
        for bone in set(self._owner):
            for starts, region in _REGION_OF_BONE:
                if bone.startswith(starts):
                    out[self._owner == bone] = region
                    break
        v, head, eye = self.vertices[0], self.heads[0][self.index["head"]], self.heads[0][self.index["eye.L"]]
        hair = (out == HEAD) & ((v[:, 1] > head[1] + 0.015) | (v[:, 2] > eye[2] + 0.05)) & (v[:, 2] > head[2] - 0.03)
        out[hair] = HAIR
        return out

    @cached_property
    def surface(self) -> dict[str, int]:
        """Vertices that are landmarks themselves: nose, ear.L/R, heel.L/R, toe.L/R."""
        v, eye = self.vertices[0].astype(float), self.heads[0][self.index["eye.L"]]
        on_head = np.array([b == "head" or b.startswith("neck") for b in self._owner])
        middle = np.flatnonzero(on_head & (abs(v[:, 0]) < 0.006) & (v[:, 2] < eye[2]) & (v[:, 2] > eye[2] - 0.07))
        out = {"nose": int(middle[v[middle, 1].argmin()])}
        for side, sign in (("L", 1), ("R", -1)):
            ear = np.flatnonzero(on_head & (abs(v[:, 2] - eye[2] + 0.01) < 0.035) & (v[:, 1] > eye[1] + 0.03))
            foot = np.flatnonzero([b == f"foot.{side}" or (b.startswith("toe") and b.endswith("." + side)) for b in self._owner])
            sole = foot[v[foot, 2] < v[foot, 2].min() + 0.35 * np.ptp(v[foot, 2])]
            out[f"ear.{side}"] = int(ear[(sign * v[ear, 0]).argmax()])
            out[f"heel.{side}"] = int(sole[v[sole, 1].argmax()])
            out[f"toe.{side}"] = int(foot[v[foot, 1].argmin()])
        return out

    @cached_property
    def arm_bones(self) -> dict[str, list[int]]:
        """Bones from the collarbone down to the fingertips, by side, parents first."""
        out = {}
        for side in "LR":
            chain = {self.index[f"clavicle.{side}"]}
            for i, parent in enumerate(self.parents):
                if parent in chain:
                    chain.add(i)
            out[side] = sorted(chain)
        return out
