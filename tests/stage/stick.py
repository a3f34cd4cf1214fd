"""A body of sticks with the bones' real names, for tests that know the answer without a drawn body."""

from __future__ import annotations

import numpy as np

from pipeline.stage.bodies import SIDES, Body

SPINE = ("spine05", "spine04", "spine03", "spine02", "spine01")
NECK = ("neck01", "neck02", "neck03", "head")
THIGH, SHANK, UPPER, FORE = 0.30, 0.27, 0.20, 0.17


def stick_body() -> Body:
    """Feet at z = 0, hips at 0.62, one vertex at each bone's head and a few on feet and hands; nothing bends the skin."""
    labels: list[str] = []
    parents: list[int] = []
    heads: list[tuple[float, float, float]] = []

    def add(label: str, parent: str | None, head: tuple[float, float, float]) -> None:
        parents.append(labels.index(parent) if parent else -1)
        labels.append(label)
        heads.append(head)

    add("root", None, (0, 0, 0.64))
    for side, s in (("L", 1), ("R", -1)):
        add(f"pelvis.{side}", "root", (0, 0, 0.64))
        add(f"upperleg01.{side}", f"pelvis.{side}", (0.07 * s, 0, 0.62))
        add(f"lowerleg01.{side}", f"upperleg01.{side}", (0.07 * s, 0, 0.62 - THIGH))
        add(f"foot.{side}", f"lowerleg01.{side}", (0.07 * s, 0, 0.62 - THIGH - SHANK))
        add(f"toe2-1.{side}", f"foot.{side}", (0.07 * s, -0.09, 0.01))
    before = "root"
    for i, label in enumerate(SPINE):
        add(label, before, (0, 0, 0.66 + 0.06 * i))
        before = label
    for side, s in (("L", 1), ("R", -1)):
        add(f"clavicle.{side}", "spine01", (0.02 * s, 0, 0.92))
        add(f"upperarm01.{side}", f"clavicle.{side}", (0.12 * s, 0, 0.92))
        add(f"lowerarm01.{side}", f"upperarm01.{side}", (0.12 * s, 0, 0.92 - UPPER))
        add(f"wrist.{side}", f"lowerarm01.{side}", (0.12 * s, 0, 0.92 - UPPER - FORE))
        for finger, y in (("finger2-1", -0.02), ("finger3-1", 0.0), ("finger5-1", 0.03), ("finger1-1", -0.03)):
            add(f"{finger}.{side}", f"wrist.{side}", (0.12 * s, y, 0.92 - UPPER - FORE - 0.07))
        add(f"finger3-3.{side}", f"finger3-1.{side}", (0.12 * s, 0, 0.92 - UPPER - FORE - 0.14))
    before = "spine01"
    for i, label in enumerate(NECK):
        add(label, before, (0, 0, 0.95 + 0.03 * i))
        before = label
    for side, s in (("L", 1), ("R", -1)):
        add(f"eye.{side}", "head", (0.03 * s, -0.08, 1.10))
    vertices = list(heads)
    owners = list(range(len(labels)))
    for side, s in (("L", 1), ("R", -1)):
        foot = labels.index(f"foot.{side}")
        vertices += [(0.07 * s, 0.04, 0.0), (0.07 * s, -0.13, 0.0), (0.05 * s, -0.13, 0.0)]  # heel, toe
        owners += [foot] * 3
    head = labels.index("head")
    vertices += [(0.0, -0.11, 1.07), (0.0, 0.0, 1.22), (0.08, 0.06, 1.09), (-0.08, 0.06, 1.09)]  # nose, crown, ears
    owners += [head] * 4
    n = len(vertices)
    return Body(
        vertices=np.array(vertices, float), faces=np.zeros((0, 3), np.int32), heads=np.array(heads, float), parents=tuple(parents),
        labels=tuple(labels), skin_bones=np.array(owners, np.uint8)[:, None], skin_weights=np.ones((n, 1), np.float32),
    )  # fmt: skip


assert SIDES == ("L", "R")
