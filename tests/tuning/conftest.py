"""A body of capsules with the bones that drawing needs: no package beyond numpy makes it, so drawing is tested everywhere."""

import shutil

import numpy as np
import pytest

from pipeline.landmarks.tuning.bodies import Bodies

_SPINE = ["spine05", "spine04", "spine03", "spine02", "spine01", "neck01", "neck02", "neck03", "head"]


def _bones() -> dict[str, tuple[str | None, tuple[float, float, float], tuple[float, float, float]]]:
    """name: (parent, where it begins, where it ends) of a body 1.2 m tall; x left, y back, z up."""
    out = {"root": (None, (0, 0, 0.62), (0, 0, 0.66))}
    for k, (name, parent) in enumerate(zip(_SPINE, ["root", *_SPINE], strict=False)):
        out[name] = (parent, (0, 0, 0.66 + 0.045 * k), (0, 0, 0.66 + 0.045 * (k + 1)))
    out["head"] = ("neck03", (0, 0, 1.02), (0, 0, 1.19))
    for side, s in (("L", 1), ("R", -1)):
        out |= {
            f"eye.{side}": ("head", (s * 0.028, -0.08, 1.10), (s * 0.028, -0.085, 1.10)),
            f"clavicle.{side}": ("spine01", (s * 0.02, 0, 0.9), (s * 0.12, 0, 0.9)),
            f"upperarm01.{side}": (f"clavicle.{side}", (s * 0.13, 0, 0.9), (s * 0.3, 0, 0.78)),
            f"lowerarm01.{side}": (f"upperarm01.{side}", (s * 0.3, 0, 0.78), (s * 0.45, 0, 0.67)),
            f"wrist.{side}": (f"lowerarm01.{side}", (s * 0.45, 0, 0.67), (s * 0.5, 0, 0.63)),
            **{f"finger{k}-{j}.{side}": (f"wrist.{side}", (s * 0.5, 0.01 * k - 0.03, 0.63), (s * 0.53, 0.01 * k - 0.03, 0.61)) for k, j in ((1, 2), (2, 1), (3, 1), (5, 1))},
            f"upperleg01.{side}": ("root", (s * 0.08, 0, 0.62), (s * 0.09, 0, 0.34)),
            f"lowerleg01.{side}": (f"upperleg01.{side}", (s * 0.09, 0, 0.34), (s * 0.09, 0.01, 0.07)),
            f"foot.{side}": (f"lowerleg01.{side}", (s * 0.09, 0.01, 0.07), (s * 0.09, -0.09, 0.02)),
            f"toe1-1.{side}": (f"foot.{side}", (s * 0.09, -0.09, 0.02), (s * 0.09, -0.13, 0.015)),
        }  # fmt: skip
    return out


_THICK = {"root": 0.1, "spine": 0.085, "neck": 0.04, "head": 0.08, "eye": 0.008, "clavicle": 0.05, "upperarm": 0.035, "lowerarm": 0.03,
          "wrist": 0.022, "finger": 0.01, "upperleg": 0.06, "lowerleg": 0.045, "foot": 0.03, "toe": 0.015}  # fmt: skip


def capsule_bodies(count: int = 6) -> Bodies:
    """`count` sizes of one body of capsules; rings of eight points along each bone, closed by their ends."""
    bones = _bones()
    names, points, faces, owner = list(bones), [], [], []
    for k, (name, (_, start, end)) in enumerate(bones.items()):
        start, end = np.array(start, float), np.array(end, float)
        thick = next(v for key, v in _THICK.items() if name.startswith(key))
        along = (end - start) / np.linalg.norm(end - start)
        side = np.cross(along, [0, 1.0, 0]) if abs(along[1]) < 0.9 else np.cross(along, [1.0, 0, 0])
        side /= np.linalg.norm(side)
        up, first = np.cross(along, side), len(points)
        rings = [(-0.9 * thick, 0.3), (0.0, 1.0), (0.33, 1.0), (0.67, 1.0), (1.0, 1.0), (0.9 * thick, 0.3)]
        for r, (at, wide) in enumerate(rings):
            middle = start + along * at if r == 0 else end + along * at if r == 5 else start + (end - start) * at
            for a in np.arange(8) * np.pi / 4:
                points.append(middle + thick * wide * (np.cos(a) * side + np.sin(a) * up))
        for r in range(5):
            for a in range(8):
                p, q = first + 8 * r + a, first + 8 * r + (a + 1) % 8
                faces += [[p, q, p + 8], [q, q + 8, p + 8]]
        for cap in (first, first + 40):
            faces += [[cap, cap + a, cap + a + 1] for a in range(1, 7)]
        owner += [k] * 48
    vertices = np.array(points, np.float32)
    parents = tuple(-1 if parent is None else names.index(parent) for parent, _, _ in bones.values())
    sizes = np.linspace(0.85, 1.5, count)[:, None, None]
    heads = np.array([start for _, start, _ in bones.values()], float)
    weight = np.ones((len(vertices), 1), np.float32)
    return Bodies(
        (vertices * sizes).astype(np.float32), heads * sizes, np.array(faces, np.int32), np.array(owner, np.uint8)[:, None], weight, tuple(names), parents
    )  # fmt: skip


@pytest.fixture(scope="session")
def bodies() -> Bodies:
    return capsule_bodies()


@pytest.fixture(scope="session")
def compiler() -> None:
    if not any(map(shutil.which, ("cc", "gcc", "clang"))):
        pytest.skip("drawing needs a C compiler")
