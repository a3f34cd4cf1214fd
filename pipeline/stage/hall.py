"""The hall: floor, mats, wall, things standing about, and the light. Boxes and planes with a material each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

PLAIN, MAT, WOOD, BRICK, PANEL, CLOTH = 0.0, 1.0, 2.0, 3.0, 4.0, 5.0

RGB = tuple[float, float, float]


@dataclass(frozen=True)
class Hall:
    """What the hall looks like."""

    floor: RGB = (0.62, 0.48, 0.33)
    floor_kind: float = WOOD
    mat: RGB = (0.16, 0.33, 0.58)
    mat_kind: float = MAT
    wall: RGB = (0.80, 0.78, 0.72)
    wall_kind: float = BRICK
    wall_band: RGB = (0.35, 0.45, 0.42)
    wall_at: float = 3.2  # metres behind the mat's middle
    wall_turn: float = 0.0  # degrees
    mat_length: float = 6.0
    mat_width: float = 1.9
    clutter: int = 3
    light_from: tuple[float, float, float] = (-0.4, -0.5, 1.0)
    light: RGB = (0.55, 0.54, 0.50)
    ambient: RGB = (0.52, 0.53, 0.56)
    shadow: float = 0.6


@dataclass(frozen=True)
class Solid:
    """Triangles with a material: positions (m, 3), normals (m, 3), colour (m, 3), faces (f, 3)."""

    vertices: np.ndarray
    normals: np.ndarray
    colour: np.ndarray
    faces: np.ndarray
    material: float
    casts: bool = False


def _plane(corners: np.ndarray, normal: tuple[float, float, float], rgb: RGB, material: float) -> Solid:
    return Solid(corners, np.tile(normal, (4, 1)), np.tile(rgb, (4, 1)), np.array([[0, 1, 2], [0, 2, 3]], np.int32), material)


def box(centre: tuple[float, float], size: tuple[float, float, float], yaw: float, rgb: RGB, material: float = PLAIN) -> Solid:
    """An upright box standing on the floor."""
    faces: list[list[int]] = []
    corners: list[np.ndarray] = []
    normals: list[np.ndarray] = []
    for axis in range(3):
        for sign in (-1, 1):
            i, j = (axis + 1) % 3, (axis + 2) % 3
            for k, (a, b) in enumerate(((-1, -1), (1, -1), (1, 1), (-1, 1))):
                p = np.zeros(3)
                p[axis], p[i], p[j] = sign, a, b
                corners.append(p)
                m = np.zeros(3)
                m[axis] = sign
                normals.append(m)
                if k == 0:
                    s = len(corners) - 1
            faces += [[s, s + 1, s + 2], [s, s + 2, s + 3]]
    v, n = np.array(corners) * 0.5 + np.array([0, 0, 0.5]), np.array(normals)
    c, s_ = np.cos(np.radians(yaw)), np.sin(np.radians(yaw))
    r = np.array([[c, -s_, 0], [s_, c, 0], [0, 0, 1.0]])
    v = (v * np.array(size)) @ r.T + np.array([*centre, 0.0])
    return Solid(v, n @ r.T, np.tile(rgb, (24, 1)), np.array(faces, np.int32), material, casts=True)


def build(hall: Hall, rng: np.random.Generator) -> list[Solid]:
    """The hall's solids; the mat's middle is the world's origin, its length along x."""
    far = 14.0
    corners = np.array([[-far, -far, -0.002], [far, -far, -0.002], [far, far, -0.002], [-far, far, -0.002]])
    out = [_plane(corners, (0, 0, 1), hall.floor, hall.floor_kind)]
    a, b = hall.mat_length / 2, hall.mat_width / 2
    out.append(_plane(np.array([[-a, -b, 0], [a, -b, 0], [a, b, 0], [-a, b, 0.0]]), (0, 0, 1), hall.mat, hall.mat_kind))
    turn = np.radians(hall.wall_turn)
    side, out_ward = np.array([np.cos(turn), np.sin(turn), 0]), np.array([-np.sin(turn), np.cos(turn), 0])
    base = out_ward * hall.wall_at
    for low, high, rgb, kind in ((-0.002, 1.1, hall.wall_band, PLAIN), (1.1, 6.0, hall.wall, hall.wall_kind)):
        quad = np.array([base - side * far, base + side * far, base + side * far, base - side * far])
        quad[:2, 2], quad[2:, 2] = low, high
        out.append(_plane(quad, tuple(-out_ward), rgb, kind))
    for _ in range(hall.clutter):
        x = rng.uniform(-4.5, 4.5)
        y = rng.uniform(1.5, max(1.6, hall.wall_at - 0.5))
        size = (rng.uniform(0.3, 1.6), rng.uniform(0.3, 0.8), rng.uniform(0.2, 1.1))
        rgb = tuple(rng.uniform(0.1, 0.85, 3))
        out.append(box((x, y), size, rng.uniform(-20, 20), rgb, rng.choice([PLAIN, PLAIN, PANEL])))
    return out
