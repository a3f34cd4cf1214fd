"""Pose -> bone rotations: forward kinematics of a body in anatomical angles, arms also by where the hands should be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial.transform import Rotation

from .bodies import Bodies

SIDES = (("L", 1), ("R", -1))
_SPINE = {"spine05": 0.1, "spine04": 0.2, "spine03": 0.25, "spine02": 0.25, "spine01": 0.2}  # shares of the whole bend
_NECK = {"neck01": 0.3, "neck02": 0.2, "neck03": 0.2, "head": 0.3}
_DOWN = np.array([0.0, 0.0, -1.0])


def rx(degrees: float) -> np.ndarray:
    """Rotation about x (the body's left)."""
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def ry(degrees: float) -> np.ndarray:
    """Rotation about y (the body's back)."""
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])


def rz(degrees: float) -> np.ndarray:
    """Rotation about z (up)."""
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def shortest_rotation(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """The smallest rotation (3, 3) that turns direction a into b."""
    a, b = a / (np.linalg.norm(a) + 1e-12), b / (np.linalg.norm(b) + 1e-12)
    axis, cosine = np.cross(a, b), float(a @ b)
    if cosine < -0.9999:  # opposite: any axis across will do
        axis = np.cross(a, [1.0, 0, 0]) if abs(a[0]) < 0.9 else np.cross(a, [0, 1.0, 0])
        return Rotation.from_rotvec(axis / np.linalg.norm(axis) * np.pi).as_matrix()
    sine = np.linalg.norm(axis)
    return Rotation.from_rotvec(axis / (sine + 1e-12) * np.arctan2(sine, cosine)).as_matrix()


@dataclass(frozen=True)
class FreeArm:
    """An arm by its angles, degrees: flexion (180 = overhead), abduction, twist of the upper arm, bend of the elbow."""

    flexion: float
    abduction: float
    twist: float
    elbow: float


Placed = Callable[[np.ndarray, np.ndarray, str], np.ndarray]  # (rotations, translations, side) -> a point or direction


@dataclass(frozen=True)
class ReachingArm:
    """An arm by where its wrist goes; `pole` is the direction in which the elbow points, `shrug` how far (0..1) the shoulder rises."""

    target: Placed
    pole: Placed
    shrug: float


@dataclass(frozen=True)
class Pose:
    """A body's pose in degrees, flexion positive, zero standing straight; pairs are left, right."""

    root: np.ndarray = field(default_factory=lambda: np.eye(3))  # turn of the whole body
    spine: float = 0.0
    spine_side: float = 0.0
    spine_twist: float = 0.0
    neck: float = 0.0
    neck_side: float = 0.0
    neck_twist: float = 0.0
    hip: tuple[float, float] = (0.0, 0.0)
    abduction: tuple[float, float] = (0.0, 0.0)
    leg_twist: tuple[float, float] = (0.0, 0.0)
    knee: tuple[float, float] = (0.0, 0.0)
    point: tuple[float, float] = (0.0, 0.0)  # of the toes
    hand: tuple[float, float] = (0.0, 0.0)
    arms: tuple[FreeArm | ReachingArm, FreeArm | ReachingArm] = (FreeArm(0, 8, 0, 5), FreeArm(0, 8, 0, 5))
    lift: float = 0.0  # metres between the lowest point and the floor

    def but(self, **changes) -> Pose:
        return replace(self, **changes)


class Posed:
    """Bone rotations (n, 3, 3) and translations (n, 3): a rest point p of bone i is at rotation[i] @ p + translation[i]."""

    def __init__(self, bodies: Bodies, body: int) -> None:
        self.bodies, self.body, self.heads = bodies, body, bodies.heads[body]
        n = len(self.heads)
        self.rotation, self.translation = np.zeros((n, 3, 3)), np.zeros((n, 3))

    def joint(self, bone: str) -> np.ndarray:
        """Where a bone begins, (3,) metres."""
        i = self.bodies.index[bone]
        return self.rotation[i] @ self.heads[i] + self.translation[i]

    @property
    def joints(self) -> np.ndarray:
        """(bones, 3) metres."""
        return np.einsum("bij,bj->bi", self.rotation, self.heads) + self.translation

    def moved(self, turn: np.ndarray, shift: np.ndarray) -> Posed:
        """The same pose turned about the origin, then shifted."""
        out = Posed(self.bodies, self.body)
        out.rotation, out.translation = turn @ self.rotation, self.translation @ turn.T + shift
        return out

    def _chain(self, local: dict[int, np.ndarray], root: np.ndarray, only: list[int] | range) -> None:
        for i in only:
            parent, turn = self.bodies.parents[i], local.get(i)
            if parent < 0:
                self.rotation[i] = root if turn is None else root @ turn
                self.translation[i] = self.heads[i] - self.rotation[i] @ self.heads[i]
            else:
                self.rotation[i] = self.rotation[parent] if turn is None else self.rotation[parent] @ turn
                self.translation[i] = self.rotation[parent] @ self.heads[i] + self.translation[parent] - self.rotation[i] @ self.heads[i]


def pose_body(bodies: Bodies, body: int, pose: Pose) -> Posed:
    """Put a body into a pose, feet wherever they fall (the caller sets it on the floor)."""
    index, heads, local = bodies.index, bodies.heads[body], {}
    for bone, share in _SPINE.items():
        local[index[bone]] = rz(pose.spine_twist * share) @ ry(pose.spine_side * share) @ rx(pose.spine * share)
    for bone, share in _NECK.items():
        local[index[bone]] = rz(pose.neck_twist * share) @ ry(pose.neck_side * share) @ rx(pose.neck * share)
    chest = np.eye(3)
    for bone in _SPINE:
        chest = chest @ local[index[bone]]
    for k, (side, sign) in enumerate(SIDES):
        thigh, shank, foot = (index[f"{b}.{side}"] for b in ("upperleg01", "lowerleg01", "foot"))
        toe = bodies.vertices[body][bodies.surface[f"toe.{side}"]].astype(float) - heads[foot]
        hang_thigh, hang_shank = shortest_rotation(heads[shank] - heads[thigh], _DOWN), shortest_rotation(heads[foot] - heads[shank], _DOWN)
        ahead = rz(-np.rad2deg(np.arctan2(toe[0], -toe[1])))
        hip = ry(-sign * pose.abduction[k]) @ rx(-pose.hip[k]) @ rz(sign * pose.leg_twist[k])
        knee = hip @ rx(pose.knee[k])
        to_thigh, to_shank = hip @ hang_thigh, knee @ hang_shank
        local[thigh], local[shank] = to_thigh, to_thigh.T @ to_shank
        local[foot] = to_shank.T @ knee @ rx(pose.point[k]) @ rz(sign * 8) @ ahead
    posed = Posed(bodies, body)
    posed._chain(local, pose.root, range(len(heads)))
    for k, (side, sign) in enumerate(SIDES):
        _place_arm(posed, local, pose, k, side, sign, chest)
    return posed


def _place_arm(posed: Posed, local: dict, pose: Pose, k: int, side: str, sign: int, chest: np.ndarray) -> None:
    bodies, heads, arm = posed.bodies, posed.heads, pose.arms[k]
    collar, upper, lower, wrist = (bodies.index[f"{b}.{side}"] for b in ("clavicle", "upperarm01", "lowerarm01", "wrist"))
    chain = bodies.arm_bones[side]
    if isinstance(arm, FreeArm):
        swing = ry(-sign * arm.abduction) @ rx(-arm.flexion) @ rz(sign * arm.twist)
        shrug = max(0.0, float((swing @ _DOWN)[2]))
    else:
        shrug = arm.shrug
    local[collar] = ry(-sign * 28 * shrug)
    posed._chain(local, pose.root, chain)
    carrier = posed.rotation[bodies.parents[upper]]
    along_upper, along_lower = heads[lower] - heads[upper], heads[wrist] - heads[lower]
    if isinstance(arm, FreeArm):
        to_upper = pose.root @ chest @ swing @ shortest_rotation(along_upper, _DOWN)
        to_lower = pose.root @ chest @ swing @ rx(-arm.elbow) @ shortest_rotation(along_lower, _DOWN)
    else:  # two bones reach for a point: the law of cosines
        shoulder = posed.rotation[upper] @ heads[upper] + posed.translation[upper]
        reach = arm.target(posed.rotation, posed.translation, side) - shoulder
        a, b, far = np.linalg.norm(along_upper), np.linalg.norm(along_lower), np.linalg.norm(reach) + 1e-9
        direction, distance = reach / far, np.clip(far, abs(a - b) + 0.01, (a + b) * 0.995)
        cosine = (a * a + distance * distance - b * b) / (2 * a * distance)
        pole = arm.pole(posed.rotation, posed.translation, side)
        pole = pole - direction * (pole @ direction)
        pole /= np.linalg.norm(pole) + 1e-9
        first = direction * cosine + pole * np.sqrt(max(0.0, 1 - cosine * cosine))
        to_upper = shortest_rotation(carrier @ along_upper, first) @ carrier
        to_lower = shortest_rotation(to_upper @ along_lower, direction * distance - first * a) @ to_upper
    local[upper], local[lower], local[wrist] = carrier.T @ to_upper, to_upper.T @ to_lower, rx(pose.hand[k])
    posed._chain(local, pose.root, chain)


_CAPSULES = (
    ("spine04", "spine01", 0.105), ("spine01", "neck01", 0.09), ("neck03", "head", 0.08),
    ("upperleg01.L", "lowerleg01.L", 0.06), ("upperleg01.R", "lowerleg01.R", 0.06), ("lowerleg01.L", "foot.L", 0.042), ("lowerleg01.R", "foot.R", 0.042),
    ("upperarm01.L", "lowerarm01.L", 0.033), ("upperarm01.R", "lowerarm01.R", 0.033), ("lowerarm01.L", "wrist.L", 0.026), ("lowerarm01.R", "wrist.R", 0.026),
)  # fmt: skip
_NEIGHBOURS = {(0, 1), (1, 2), (3, 5), (4, 6), (7, 9), (8, 10), (1, 7), (1, 8), (0, 3), (0, 4), (3, 4), (0, 7), (0, 8)}


def penetration(posed: Posed) -> float:
    """How far the body's parts run into each other, as a share of its height; at or below 0.012 looks right."""
    height, steps = posed.bodies.height[posed.body], np.linspace(0.08, 1, 8)[:, None]
    points = []
    for start, end, _ in _CAPSULES:
        if start == "neck03":  # the skull, from the head joint up
            up = posed.rotation[posed.bodies.index["head"]] @ np.array([0, -0.02, 0.11]) * height / 1.7
            points.append(posed.joint("head") + up * np.linspace(0.2, 1, 8)[:, None])
        else:
            points.append(posed.joint(start) * (1 - steps) + posed.joint(end) * steps)
    spheres = np.array(points)
    apart = np.linalg.norm(spheres[:, None, :, None] - spheres[None, :, None], axis=-1).min((2, 3)) / height
    worst = 0.0
    for i in range(len(_CAPSULES)):
        for j in range(i + 1, len(_CAPSULES)):
            if (i, j) not in _NEIGHBOURS:
                worst = max(worst, (_CAPSULES[i][2] + _CAPSULES[j][2]) / 1.7 - apart[i, j])
    crossing = np.linalg.norm(spheres[3][4:, None] - spheres[4][None, 4:], axis=-1).min() / height
    return max(worst, 0.09 / 1.7 - crossing)
