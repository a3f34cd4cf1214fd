"""Arrays -> drawn arrays: the thin Python side of raster.c, compiled on first use into the user's cache."""

from __future__ import annotations

import ctypes
import hashlib
import os
import platform
import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError

SOURCE = Path(__file__).with_name("raster.c")
FLAGS = ("-O3", "-march=native", "-ffast-math", "-shared", "-fPIC")


def _cache_folder() -> Path:
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    folder = Path(base) / "matside" / "tuning"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@cache
def library() -> ctypes.CDLL:
    """The compiled kernel; compiled anew when its source, the flags or the processor change. Needs a C compiler."""
    stamp = hashlib.sha256(SOURCE.read_bytes() + " ".join((*FLAGS, platform.processor(), platform.node())).encode()).hexdigest()[:16]
    built = _cache_folder() / f"raster-{stamp}.so"
    if not built.exists():
        compiler = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")
        if compiler is None:
            raise MatsideError(
                "tuning: drawing needs a C compiler, but none of cc, gcc, clang was found. Install one (Debian: apt install gcc)."
            )
        with tempfile.NamedTemporaryFile(dir=built.parent, suffix=".so", delete=False) as fresh:
            pass
        done = subprocess.run([compiler, *FLAGS, str(SOURCE), "-o", fresh.name, "-lm"], capture_output=True, text=True)
        if done.returncode:
            Path(fresh.name).unlink()
            raise MatsideError(f"tuning: {compiler} could not compile {SOURCE.name}: {done.stderr.strip().splitlines()[0]}")
        os.replace(fresh.name, built)  # several workers may compile at once; the last one wins with the same bytes
    return ctypes.CDLL(str(built))


def _pointer(array: np.ndarray | None) -> ctypes.c_void_p | None:
    return None if array is None else array.ctypes.data_as(ctypes.c_void_p)


def _floats(array: np.ndarray) -> np.ndarray:
    if array.dtype.names:  # a MATERIAL: sixteen float32 side by side
        return np.atleast_1d(array).view(np.float32)
    return np.ascontiguousarray(array, np.float32)


def skin(rest: np.ndarray, bone_of: np.ndarray, weight: np.ndarray, bones: np.ndarray) -> np.ndarray:
    """Linear blend skinning: rest (v, 3), bone_of (v, k) uint8, weight (v, k), bones (n, 3, 4) -> (v, 3) float32."""
    rest, bones = _floats(rest), _floats(bones)
    out = np.empty_like(rest)
    library().skin(len(rest), bone_of.shape[1], _pointer(rest), _pointer(bone_of), _pointer(weight), _pointer(bones), _pointer(out))
    return out


def vertex_normals(points: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Unit normals (v, 3) of a triangle mesh, faces (f, 3) int32."""
    points = _floats(points)
    out = np.empty_like(points)
    library().normals(len(points), len(faces), _pointer(points), _pointer(faces), _pointer(out))
    return out


class DepthPicture:
    """A square depth buffer with, per pixel, which face is nearest and where on it."""

    def __init__(self, size: int, *, faces: bool = True) -> None:
        self.size = size
        self.depth = np.zeros(size * size, np.float32)  # 1/depth, 0 = nothing
        self.face = np.full(size * size, -1, np.int32) if faces else None
        self.bary = [np.zeros(size * size, np.float32) for _ in range(2)] if faces else [None, None]

    def draw(self, corners: np.ndarray, faces: np.ndarray, first_id: int = 0) -> None:
        """Add triangles; corners (v, 3) = pixel x, y and 1/depth."""
        corners = _floats(corners)
        library().raster(
            self.size, self.size, len(faces), _pointer(corners), _pointer(faces), first_id,
            _pointer(self.depth), _pointer(self.face), _pointer(self.bary[0]), _pointer(self.bary[1]),
        )  # fmt: skip


class Light:
    """A far light with its shadow map over the scene's middle."""

    MAP = 320

    def __init__(
        self, direction: np.ndarray, colour: np.ndarray, ambient: np.ndarray, shadow: float, middle: np.ndarray, reach: float
    ) -> None:
        """direction (3,) unit, toward the light; shadow 0..1 its strength; the map covers `reach` metres round `middle`."""
        self.direction, self.colour, self.ambient, self.shadow = _floats(direction), _floats(colour), _floats(ambient), float(shadow)
        across = np.cross(direction, [0.0, 0.0, 1.0])
        across /= np.linalg.norm(across)
        other, scale = np.cross(direction, across), self.MAP / 2 / reach
        self.to_map = np.zeros((3, 4), np.float32)
        for row, (axis, shift) in enumerate(((across * scale, self.MAP / 2), (other * scale, self.MAP / 2), (direction, 10.0))):
            self.to_map[row, :3], self.to_map[row, 3] = axis, shift - axis @ middle
        self.map = DepthPicture(self.MAP, faces=False)

    def cast(self, points: np.ndarray, faces: np.ndarray) -> None:
        """Let a mesh throw its shadow."""
        self.map.draw(points @ self.to_map[:, :3].T + self.to_map[:, 3], faces)


def shade(picture: DepthPicture, image: np.ndarray, meshes: list, materials: np.ndarray, eye: np.ndarray, light: Light) -> None:
    """Colour `image` (s, s, 3) where meshes were drawn, in the order they were drawn. Meshes as in scene.Mesh; materials (n,) MATERIAL."""
    first = np.cumsum([0] + [len(m.points) for m in meshes])
    faces = np.ascontiguousarray(np.concatenate([m.faces + k for m, k in zip(meshes, first, strict=False)]), np.int32)
    mesh_of = np.repeat(np.arange(len(meshes), dtype=np.uint8), [len(m.faces) for m in meshes])
    points, normals, colour, rest = (
        _floats(np.concatenate([getattr(m, n) for m in meshes])) for n in ("points", "normals", "colour", "rest")
    )
    materials, eye = _floats(materials), _floats(eye)
    library().shade(
        picture.size**2, _pointer(picture.face), _pointer(picture.bary[0]), _pointer(picture.bary[1]), _pointer(faces), _pointer(mesh_of),
        _pointer(points), _pointer(normals), _pointer(colour), _pointer(rest), _pointer(materials), _pointer(eye), _pointer(light.direction),
        _pointer(light.colour), _pointer(light.ambient), _pointer(light.map.depth), light.MAP, _pointer(light.to_map),
        ctypes.c_float(light.shadow), _pointer(image),
    )  # fmt: skip


def hall(
    image: np.ndarray,
    to_direction: np.ndarray,
    eye: np.ndarray,
    floor: tuple,
    wall: tuple,
    wall_plane: np.ndarray,
    sky: np.ndarray,
    light: Light,
) -> None:
    """Fill `image` (s, s, 3) with floor and wall, each a (colour (3,), material (16,)); wall_plane (4,): normal, distance."""
    arrays = [_floats(a) for a in (to_direction, eye, floor[0], wall[0], wall_plane, floor[1], wall[1], sky)]
    library().hall(
        image.shape[1], image.shape[0], *(_pointer(a) for a in arrays), _pointer(light.map.depth), light.MAP, _pointer(light.to_map),
        ctypes.c_float(light.shadow), _pointer(image),
    )  # fmt: skip
