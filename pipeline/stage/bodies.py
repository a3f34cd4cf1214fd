"""Bodies: rest meshes, bones and skin weights of children and adults from anny, kept as one small file each.

anny (CC0 shape data, Apache-2.0 code) is asked once per body; afterwards neither torch nor anny is needed.
Rest frame: x to the body's left, y to its back, z up, feet at z = 0, metres.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

SIDES = ("L", "R")
BONE_VERSION = 1


@dataclass(frozen=True)
class Shape:
    """What the body looks like, in anny's own 0..1 scales; `years` sets anny's age by the height it gives (see `anny_age`)."""

    years: float
    girl: float = 1.0
    weight: float = 0.4
    muscle: float = 0.5
    height: float = 0.5
    proportions: float = 0.6

    @property
    def anny_age(self) -> float:
        """anny's age scale where its stature, at middle height, meets the WHO 2007 median (from memory: 5 y 1.10 m,
        6 y 1.16, 7 y 1.21, 8 y 1.27, 9 y 1.33, 10 y 1.38, 11 y 1.44; grown up 1.68)."""
        return float(np.interp(self.years, [5, 6, 7, 8, 9, 10, 11, 18], [0.196, 0.22, 0.244, 0.270, 0.296, 0.320, 0.353, 0.54]))


@dataclass(frozen=True)
class Body:
    """One body at rest. Arrays are shared, never changed."""

    vertices: np.ndarray  # (v, 3)
    faces: np.ndarray  # (f, 3) int32
    heads: np.ndarray  # (b, 3) where each bone starts: the centre it turns about
    parents: tuple[int, ...]
    labels: tuple[str, ...]
    skin_bones: np.ndarray  # (v, k) uint8
    skin_weights: np.ndarray  # (v, k), rows sum to 1

    @cached_property
    def bone(self) -> dict[str, int]:
        return {label: i for i, label in enumerate(self.labels)}

    @cached_property
    def height(self) -> float:
        return float(np.ptp(self.vertices[:, 2]))

    @cached_property
    def weights(self):
        """(v, b) sparse skin weights."""
        from scipy.sparse import csr_matrix

        v, k = self.skin_bones.shape
        rows = np.repeat(np.arange(v), k)
        return csr_matrix((self.skin_weights.ravel(), (rows, self.skin_bones.ravel())), shape=(v, len(self.labels)), dtype=np.float32)

    @cached_property
    def owner(self) -> np.ndarray:
        """(v,) label of the bone that holds each vertex most."""
        lead = self.skin_bones[np.arange(len(self.vertices)), self.skin_weights.argmax(1)]
        return np.asarray(self.labels)[lead]

    def owned(self, *prefixes: str) -> np.ndarray:
        """(v,) bool: vertices held most by bones whose label starts with one of the prefixes."""
        return np.array([label.startswith(prefixes) for label in self.owner])

    def head_of(self, label: str) -> np.ndarray:
        return self.heads[self.bone[label]]

    @cached_property
    def descendants(self) -> dict[int, tuple[int, ...]]:
        """bone -> the bones that move with it, itself first."""
        out: dict[int, tuple[int, ...]] = {}
        for i in range(len(self.parents)):
            moved = [i]
            for j in range(i + 1, len(self.parents)):
                if self.parents[j] in moved:
                    moved.append(j)
            out[i] = tuple(moved)
        return out

    @cached_property
    def points(self) -> dict[str, int]:
        """Vertices that stand for surface landmarks: crown, nose, ear, heel, toe tip, fingertip, found by where they lie at rest."""
        v, out = self.vertices, {}
        eye = self.head_of("eye.L")
        face = self.owned("head", "neck", "jaw") & (np.abs(v[:, 0]) < 0.006) & (v[:, 2] < eye[2]) & (v[:, 2] > eye[2] - 0.07)
        rows = np.flatnonzero(face)
        out["crown"] = int(v[:, 2].argmax())
        out["nose"] = int(rows[v[rows, 1].argmin()])
        for side, sign in (("L", 1), ("R", -1)):
            rows = np.flatnonzero(self.owned("head", "neck") & (np.abs(v[:, 2] - eye[2] + 0.01) < 0.035) & (v[:, 1] > eye[1] + 0.03))
            out[f"ear.{side}"] = int(rows[(sign * v[rows, 0]).argmax()])
            foot = np.flatnonzero(self.owned(f"foot.{side}", "toe") & (sign * v[:, 0] > 0))
            low = foot[v[foot, 2] < v[foot, 2].min() + 0.35 * np.ptp(v[foot, 2])]
            out[f"heel.{side}"] = int(low[v[low, 1].argmax()])
            out[f"toe.{side}"] = int(foot[v[foot, 1].argmin()])
            hand = np.flatnonzero(self.owned("finger3-3") & (sign * v[:, 0] > 0))
            out[f"fingertip.{side}"] = int(hand[np.linalg.norm(v[hand] - self.head_of(f"wrist.{side}"), axis=1).argmax()])
        return out


def body(shape: Shape, folder: Path | None = None) -> Body:
    """The body of this shape, from the user's cache or, the first time, from anny (a minute for the first body, then seconds)."""
    from platformdirs import user_cache_path

    folder = Path(folder) if folder else user_cache_path("matside") / "stage"
    key = hashlib.sha256(json.dumps([BONE_VERSION, asdict(shape)], sort_keys=True).encode()).hexdigest()[:12]
    path = folder / f"body_{key}.npz"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part.npz")
        np.savez_compressed(part, **_from_anny(shape))
        part.replace(path)
    with np.load(path) as d:
        weights = d["skin_weights"].astype(np.float32)
        return Body(
            vertices=d["vertices"].astype(np.float64), faces=d["faces"].astype(np.int32), heads=d["heads"].astype(np.float64),
            parents=tuple(int(p) for p in d["parents"]), labels=tuple(str(x) for x in d["labels"]),
            skin_bones=d["skin_bones"], skin_weights=weights / weights.sum(1, keepdims=True),
        )  # fmt: skip


_MODEL = None


def _from_anny(shape: Shape) -> dict[str, np.ndarray]:
    global _MODEL
    import anny
    import torch

    if _MODEL is None:
        _MODEL = anny.Anny()
    m = _MODEL
    wanted = dict(
        age=shape.anny_age, gender=shape.girl, weight=shape.weight, muscle=shape.muscle, height=shape.height, proportions=shape.proportions
    )
    rest = torch.eye(4, dtype=torch.float64)[None, None].repeat(1, m.bone_count, 1, 1)
    with torch.no_grad():
        out = m(pose_parameters=rest, phenotype_kwargs=wanted)
    vertices = out["rest_vertices"][0].numpy()
    heads = out["rest_bone_heads"][0].numpy()
    floor = np.array([0, 0, vertices[:, 2].min()])
    return dict(
        vertices=(vertices - floor).astype(np.float32), heads=(heads - floor).astype(np.float32), faces=np.asarray(m.faces, np.int32),
        parents=np.array(m.bone_parents, np.int16), labels=np.array(list(m.bone_labels)),
        skin_bones=m.vertex_bone_indices.numpy().astype(np.uint8), skin_weights=m.vertex_bone_weights.numpy().astype(np.float32),
    )  # fmt: skip
