"""Clothes, skin and hair: colours and small bulges per vertex, plus a bun or a tail on the head."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.stage.bodies import SIDES, Body

SKIN = {
    "porcelain": (0.95, 0.80, 0.73), "light": (0.90, 0.72, 0.62), "olive": (0.79, 0.60, 0.46), "tan": (0.68, 0.48, 0.36),
    "brown": (0.50, 0.33, 0.24), "dark": (0.34, 0.22, 0.16),
}  # fmt: skip
HAIR = {
    "black": (0.07, 0.06, 0.06),
    "brown": (0.24, 0.15, 0.09),
    "fair": (0.68, 0.53, 0.32),
    "red": (0.48, 0.22, 0.10),
    "grey": (0.5, 0.5, 0.5),
}
KINDS = ("leotard", "long leotard", "tee and shorts", "leggings", "tracksuit")


@dataclass(frozen=True)
class Outfit:
    """What one person wears."""

    kind: str = "leotard"
    top: tuple[float, float, float] = (0.55, 0.10, 0.30)
    bottom: tuple[float, float, float] = (0.10, 0.12, 0.25)
    skin: str = "light"
    hair: str = "brown"
    tail: str = "bun"  # "bun", "tail", "short"
    pattern: float = 0.0  # 0 plain, 1 stripes across, 2 blotches
    socks: bool = False


@dataclass(frozen=True)
class Dressed:
    """A body's mesh ready to draw; skinned like the body, the extra hair rides on the head."""

    rest: np.ndarray  # (m, 3)
    normals: np.ndarray  # (m, 3)
    faces: np.ndarray  # (f, 3)
    colour: np.ndarray  # (m, 4) rgb and 1 where cloth
    weights: Any  # (m, b) sparse matrix
    pattern: float


def vertex_normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """(v, 3) unit normals, each face counted by its area."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    face = np.cross(b - a, c - a)
    out = np.stack([sum(np.bincount(faces[:, i], face[:, k], len(vertices)) for i in range(3)) for k in range(3)], axis=1)
    return out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)


def along(body: Body, start: str, end: str) -> np.ndarray:
    """(v,) how far each vertex lies from the bone head `start` (0) to `end` (1)."""
    a, b = body.head_of(start), body.head_of(end)
    return (body.vertices - a) @ (b - a) / float((b - a) @ (b - a))


def dress(body: Body, outfit: Outfit, rng: np.random.Generator) -> Dressed:
    """The body's mesh in the outfit, ready to draw; cut and pattern vary with `rng`."""
    from scipy.sparse import csr_matrix, vstack

    v = body.vertices
    n = len(v)
    colour = np.tile(np.array([*SKIN[outfit.skin], 0.0]), (n, 1))
    puff = np.zeros(n)
    scale = body.height / 1.25
    trunk = ~body.owned(
        "upperarm", "lowerarm", "wrist", "finger", "metacarpal", "upperleg", "lowerleg", "foot", "toe", "neck", "head", "eye", "jaw"
    )
    trunk &= v[:, 2] < body.head_of("neck01")[2] + 0.012 * scale
    thigh, shank, upper, fore = (np.zeros(n) for _ in range(4))
    for side in SIDES:
        own = lambda prefix: body.owned(f"{prefix}.{side}", f"{prefix[:-2]}02.{side}")  # noqa: B023, E731
        for rows, target, a, b in (
            (own("upperleg01"), thigh, f"upperleg01.{side}", f"lowerleg01.{side}"), (own("lowerleg01"), shank, f"lowerleg01.{side}", f"foot.{side}"),
            (own("upperarm01"), upper, f"upperarm01.{side}", f"lowerarm01.{side}"), (own("lowerarm01"), fore, f"lowerarm01.{side}", f"wrist.{side}"),
        ):  # fmt: skip
            target[rows] = np.clip(along(body, a, b)[rows], 0.001, 0.999)
    cloth = lambda rows, rgb: colour.__setitem__(rows, np.array([*rgb, 1.0]))  # noqa: E731
    hip_z = body.head_of("upperleg01.L")[2]
    groin = (thigh > 0) & (v[:, 2] > hip_z - 0.035 * scale + 0.35 * np.abs(v[:, 0]))
    if "leotard" in outfit.kind:
        cloth(trunk | groin, outfit.top)
        if outfit.kind == "long leotard":
            cloth((upper > 0) | ((fore > 0) & (fore < 0.92)), outfit.top)
    elif outfit.kind == "tee and shorts":
        cloth(trunk | ((upper > 0) & (upper < 0.6)), outfit.top)
        low = (trunk & (v[:, 2] < hip_z + 0.06 * scale)) | ((thigh > 0) & (thigh < 0.55))
        cloth(low, outfit.bottom)
        puff[trunk | ((upper > 0) & (upper < 0.6))] = 0.008 * scale
        puff[low] = 0.011 * scale
    elif outfit.kind == "leggings":
        cloth(trunk, outfit.top)
        cloth((trunk & (v[:, 2] < hip_z + 0.07 * scale)) | (thigh > 0) | ((shank > 0) & (shank < 0.9)), outfit.bottom)
    else:
        cloth(trunk | (upper > 0) | (fore > 0), outfit.top)
        cloth((trunk & (v[:, 2] < hip_z + 0.06 * scale)) | (thigh > 0) | ((shank > 0) & (shank < 0.95)), outfit.bottom)
        puff[trunk | (upper > 0) | (fore > 0) | (thigh > 0) | (shank > 0)] = 0.010 * scale
    if outfit.socks:
        cloth(body.owned("foot", "toe"), (0.92, 0.92, 0.9))
    head, eye = body.head_of("head"), body.head_of("eye.L")
    skull = body.owned("head", "special", "temporalis", "orbicularis", "oris", "levator", "risorius", "jaw")
    scalp = skull & ((v[:, 1] > head[1] + 0.018 * scale) | (v[:, 2] > eye[2] + 0.045 * scale)) & (v[:, 2] > head[2] - 0.02 * scale)
    hair = np.array(HAIR[outfit.hair])
    colour[scalp, :3] = hair
    puff[scalp] += 0.006 * scale
    colour[body.owned("eye"), :3] = (0.10, 0.08, 0.07)
    normals = vertex_normals(v, body.faces)
    fold = rng.uniform(0, 2 * np.pi)
    rest = v + normals * (puff * (1 + 0.5 * np.sin(v @ np.array([9.0, 7.0, 13.0]) / scale + fold)))[:, None]
    if outfit.tail == "short":
        return Dressed(rest, normals, body.faces, colour, body.weights, outfit.pattern)
    crown = v[scalp]
    middle = crown.mean(axis=0)
    back = crown[(np.abs(crown[:, 0]) < 0.03) & (crown[:, 1] > middle[1])]
    wanted = middle + np.array([0, 0.10, 0.085 if outfit.tail == "bun" else 0.03]) * scale
    spot = back[np.linalg.norm(back - wanted, axis=1).argmin()]
    out = (spot - middle) / np.linalg.norm(spot - middle)
    size = np.array([0.026, 0.026, 0.026]) * scale if outfit.tail == "bun" else np.array([0.018, 0.018, 0.075]) * scale
    ball, ball_faces = sphere()
    drop = np.zeros(3) if outfit.tail == "bun" else np.array([0, 0.012, -0.06]) * scale
    extra = ball * size + spot + out * size[0] * 0.5 + drop
    head_row = csr_matrix(
        (np.ones(len(ball)), (np.arange(len(ball)), np.full(len(ball), body.bone["head"]))), shape=(len(ball), len(body.labels))
    )
    return Dressed(
        rest=np.vstack([rest, extra]), normals=np.vstack([normals, ball]), faces=np.vstack([body.faces, ball_faces + n]),
        colour=np.vstack([colour, np.tile([*hair, 0.0], (len(ball), 1))]), weights=vstack([body.weights, head_row]).tocsr().astype(np.float32),
        pattern=outfit.pattern,
    )  # fmt: skip


def sphere(rings: int = 8) -> tuple[np.ndarray, np.ndarray]:
    """Unit sphere: (m, 3) vertices and (f, 3) faces."""
    theta, phi = np.meshgrid(np.linspace(0, np.pi, rings), np.linspace(0, 2 * np.pi, 2 * rings, endpoint=False), indexing="ij")
    v = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], -1).reshape(-1, 3)
    w, f = 2 * rings, []
    for i in range(rings - 1):
        for j in range(w):
            a, b = i * w + j, i * w + (j + 1) % w
            f += [[a, a + w, b], [b, a + w, b + w]]
    return v, np.array(f, np.int32)
