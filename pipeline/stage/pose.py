"""Pose: joint angles over time -> bone rotations and places. Forward kinematics, two-bone reaching, skinning; plain numpy.

Angles are degrees, one value a moment, and zero is standing with the arms hanging. Left and right are the body's own.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pipeline.stage.bodies import SIDES, Body
from pipeline.stage.rotations import frame, rx, ry, rz, shortest, unit

SPINE = {"spine05": 0.1, "spine04": 0.2, "spine03": 0.25, "spine02": 0.25, "spine01": 0.2}
NECK = {"neck01": 0.3, "neck02": 0.2, "neck03": 0.2, "head": 0.3}
DOWN = np.array([0.0, 0.0, -1.0])
CLAVICLE_LIFT = 28.0  # degrees the shoulder girdle rises when the arm points straight up
THUMB_OUT = 40.0  # degrees the relaxed thumb lies below the palm
ANGLES = ("spine", "spine_side", "spine_twist", "neck", "neck_side", "neck_twist")
LIMB_ANGLES = ("hip", "abduct", "turnout", "knee", "point", "arm", "spread", "arm_twist", "elbow", "wrist")


@dataclass
class Pose:
    """A movement of one body: n moments. Every array is (n,) unless said otherwise."""

    root: np.ndarray  # (n, 3, 3) the pelvis: body axes (left, back, up) in the world
    place: np.ndarray  # (n, 3) the middle of the two hip joints in the world, metres
    spine: np.ndarray  # flexion forward, over the whole spine
    spine_side: np.ndarray  # towards the body's left
    spine_twist: np.ndarray  # towards the body's left
    neck: np.ndarray  # chin to chest positive
    neck_side: np.ndarray
    neck_twist: np.ndarray
    limbs: dict[str, np.ndarray] = field(default_factory=dict)  # "hip.L" -> (n,): see LIMB_ANGLES

    @classmethod
    def standing(cls, n: int) -> Pose:
        """Upright with hanging arms, n frames of it."""
        zeros = {name: np.zeros(n) for name in ANGLES}
        limbs = {f"{name}.{side}": np.zeros(n) for name in LIMB_ANGLES for side in SIDES}
        for side in SIDES:
            limbs[f"spread.{side}"] += 8.0
            limbs[f"elbow.{side}"] += 8.0
            limbs[f"turnout.{side}"] += 8.0
        return cls(root=np.tile(np.eye(3), (n, 1, 1)), place=np.zeros((n, 3)), limbs=limbs, **zeros)

    def __len__(self) -> int:
        return len(self.place)


@dataclass(frozen=True)
class Pin:
    """A hand or foot drawn to a place in the world, as far as `weight` says and the limb reaches."""

    limb: str  # "hand.L", "hand.R", "foot.L", "foot.R"
    target: np.ndarray  # (n, 3) for the wrist or the ankle
    weight: np.ndarray  # (n,) 0..1
    pole: np.ndarray | None = None  # (n, 3) direction in the world that the elbow or knee should go; None keeps the pose's
    facing: np.ndarray | None = None  # (n, 3) direction of fingers or toes in the world while pinned; None keeps the pose's
    normal: np.ndarray | None = None  # (n, 3) direction of the back of the hand, or the top of the foot

    @property
    def frame(self) -> np.ndarray | None:
        """(n, 3, 3) the hand's or foot's frame while pinned, or None."""
        return None if self.facing is None or self.normal is None else frame(self.facing, self.normal)


@dataclass
class Placed:
    """Bones in the world: vertex = turn @ rest + shift."""

    turn: np.ndarray  # (n, b, 3, 3)
    shift: np.ndarray  # (n, b, 3)

    def joint(self, body: Body, label: str) -> np.ndarray:
        """(n, 3) centre of the joint at a bone's head."""
        i = body.bone[label]
        return self.turn[:, i] @ body.heads[i] + self.shift[:, i]

    def moved(self, by: np.ndarray) -> Placed:
        """The same, moved by (n, 3)."""
        return Placed(self.turn, self.shift + by[:, None])

    def at(self, index: slice | np.ndarray) -> Placed:
        return Placed(self.turn[index], self.shift[index])


class _Bones:
    """Fills in bone after bone; a bone without a turn of its own follows its parent."""

    def __init__(self, body: Body, root: np.ndarray, place: np.ndarray) -> None:
        n, b = len(place), len(body.parents)
        self.body = body
        self.turn = np.zeros((n, b, 3, 3))
        self.shift = np.zeros((n, b, 3))
        self.own: dict[int, np.ndarray] = {0: root}
        hips = 0.5 * (body.head_of("upperleg01.L") + body.head_of("upperleg01.R"))
        self._first = place - root @ hips
        self.follow(0)

    def set(self, label: str, world: np.ndarray) -> None:
        """Give a bone its world turn (n, 3, 3); its children follow at the next `follow`."""
        self.own[self.body.bone[label]] = world

    def follow(self, first: int | str) -> None:
        first = self.body.bone[first] if isinstance(first, str) else first
        for i in self.body.descendants[first]:
            p = self.body.parents[i]
            if p < 0:
                self.turn[:, i], self.shift[:, i] = self.own[i], self._first
                continue
            turn = self.own.get(i, self.turn[:, p])
            head = self.body.heads[i]
            self.turn[:, i] = turn
            self.shift[:, i] = (self.turn[:, p] - turn) @ head + self.shift[:, p]

    def joint(self, label: str) -> np.ndarray:
        i = self.body.bone[label]
        return self.turn[:, i] @ self.body.heads[i] + self.shift[:, i]


def place_bones(body: Body, pose: Pose, pins: tuple[Pin, ...] = ()) -> Placed:
    """Bones of every moment of a pose, hands and feet drawn to their pins."""
    bones = _Bones(body, pose.root, pose.place)
    trunk = _trunk(bones, pose)
    for side in SIDES:
        _leg(bones, pose, side, next((p for p in pins if p.limb == f"foot.{side}"), None))
        _arm(bones, pose, trunk, side, next((p for p in pins if p.limb == f"hand.{side}"), None))
    return Placed(bones.turn, bones.shift)


def _trunk(bones: _Bones, pose: Pose) -> np.ndarray:
    """Spine and neck; returns (n, 3, 3) the chest's turn in the world."""
    turn = pose.root
    for label, share in SPINE.items():
        turn = turn @ rz(pose.spine_twist * share) @ ry(pose.spine_side * share) @ rx(pose.spine * share)
        bones.set(label, turn)
    chest = turn
    for label, share in NECK.items():
        turn = turn @ rz(pose.neck_twist * share) @ ry(pose.neck_side * share) @ rx(pose.neck * share)
        bones.set(label, turn)
    bones.follow("spine05")
    return chest


def _leg(bones: _Bones, pose: Pose, side: str, pin: Pin | None) -> None:
    body, q, sign = bones.body, pose.limbs, 1 if side == "L" else -1
    hip, knee, foot = (f"{name}.{side}" for name in ("upperleg01", "lowerleg01", "foot"))
    heads = {name: body.head_of(name) for name in (hip, knee, foot)}
    toe = body.vertices[body.points[f"toe.{side}"]] - heads[foot]
    thigh_rest, shank_rest = shortest(heads[knee] - heads[hip], DOWN), shortest(heads[foot] - heads[knee], DOWN)
    foot_rest = rz(-np.degrees(np.arctan2(toe[0], -toe[1])))
    thigh = pose.root @ rx(-q[f"hip.{side}"]) @ ry(-sign * q[f"abduct.{side}"]) @ rz(sign * q[f"turnout.{side}"])
    shank = thigh @ rx(q[f"knee.{side}"])
    sole = shank @ rx(q[f"point.{side}"])
    if pin is not None:
        start = bones.joint(hip)
        ends = heads[knee] - heads[hip], heads[foot] - heads[knee]
        natural = start + thigh @ DOWN * np.linalg.norm(ends[0]) + shank @ DOWN * np.linalg.norm(ends[1])
        thigh, shank = _reach(start, natural, thigh, shank, ends, pin)
        if pin.frame is not None:
            sole = _towards(sole, pin.frame @ np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1.0]]), pin.weight)
        else:
            sole = shank @ rx(q[f"point.{side}"])
    bones.set(hip, thigh @ thigh_rest)
    bones.set(knee, shank @ shank_rest)
    bones.set(foot, sole @ foot_rest)
    bones.follow(f"pelvis.{side}")


def _arm(bones: _Bones, pose: Pose, chest: np.ndarray, side: str, pin: Pin | None) -> None:
    body, q, sign = bones.body, pose.limbs, 1 if side == "L" else -1
    shoulder, elbow, wrist = (f"{name}.{side}" for name in ("upperarm01", "lowerarm01", "wrist"))
    heads = {name: body.head_of(name) for name in (shoulder, elbow, wrist)}
    local = rx(-q[f"arm.{side}"]) @ ry(-sign * q[f"spread.{side}"]) @ rz(-sign * q[f"arm_twist.{side}"])
    lift = np.clip((local @ DOWN)[:, 2], 0, None)
    bones.set(f"clavicle.{side}", chest @ ry(-sign * CLAVICLE_LIFT * lift))
    bones.follow(f"clavicle.{side}")
    upper = chest @ local
    lower = upper @ rx(-q[f"elbow.{side}"])
    ends = heads[elbow] - heads[shoulder], heads[wrist] - heads[elbow]
    if pin is not None:
        start = bones.joint(shoulder)
        natural = start + upper @ DOWN * np.linalg.norm(ends[0]) + lower @ DOWN * np.linalg.norm(ends[1])
        upper, lower = _reach(start, natural, upper, lower, ends, pin)
    bones.set(shoulder, upper @ shortest(ends[0], DOWN))
    bones.set(elbow, lower @ shortest(ends[1], DOWN))
    fingers = body.head_of(f"finger3-1.{side}") - heads[wrist]
    across = body.head_of(f"finger2-1.{side}") - body.head_of(f"finger5-1.{side}")
    back = sign * np.cross(across, fingers)  # out of the back of the hand
    rest = frame(fingers, back)
    hanging = frame(DOWN, np.array([float(sign), 0.0, 0.0]))  # fingers down, back of the hand outwards
    hand = lower @ hanging @ ry(-q[f"wrist.{side}"])
    if pin is not None and pin.frame is not None:
        hand = _towards(hand, pin.frame, pin.weight)
    bones.set(wrist, hand @ rest.T)
    if pin is not None and pin.facing is not None:  # a flat hand lays its thumb into the palm's plane
        bones.set(f"finger1-1.{side}", hand @ rx(-sign * THUMB_OUT * pin.weight) @ rest.T)
    bones.follow(shoulder)


def _reach(start, natural, upper, lower, ends, pin: Pin) -> tuple[np.ndarray, np.ndarray]:
    """Two-bone reaching: turns of the upper and the lower bone that bring the end to the pin (as far as its weight says).

    start, natural : (n, 3) the fixed joint and where the end would be without the pin; upper, lower : (n, 3, 3).
    The end stays within 99.9 % of the limb's length; the middle joint bends towards the pole.
    """
    a, b = (float(np.linalg.norm(e)) for e in ends)
    w = pin.weight[:, None]
    active = pin.weight > 1e-6
    goal = natural + w * (pin.target - natural)
    away = goal - start
    dist = np.clip(np.linalg.norm(away, axis=1), abs(a - b) + 0.01, 0.9995 * (a + b))
    d = unit(away)
    ahead = upper @ np.array([0.0, -1.0, 0.0])  # where a knee bends to
    wanted = ahead if pin.pole is None else pin.pole
    pole = wanted - d * np.sum(wanted * d, axis=1, keepdims=True)
    middle_now = unit(upper @ DOWN - d * np.sum((upper @ DOWN) * d, axis=1, keepdims=True))
    straight = np.linalg.norm(np.cross(upper @ DOWN, lower @ DOWN), axis=1) < 0.05
    pole = unit(np.where(straight[:, None], unit(pole), unit(pole) * w + middle_now * (1 - w) if pin.pole is not None else middle_now))
    cos = (a * a + dist**2 - b * b) / (2 * a * dist)
    sin = np.sqrt(np.clip(1 - cos**2, 0, None))
    u = d * cos[:, None] + pole * sin[:, None]
    v = unit(start + d * dist[:, None] - (start + u * a))
    new_upper = shortest(upper @ DOWN, u) @ upper
    new_lower = shortest(new_upper @ DOWN, v) @ new_upper
    keep = ~active[:, None, None]
    return np.where(keep, upper, new_upper), np.where(keep, lower, new_lower)


def _towards(a: np.ndarray, b: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Turn a (n, 3, 3) the share `weight` (n,) of the way to b, along the shortest turn."""
    from scipy.spatial.transform import Rotation

    step = Rotation.from_matrix(np.broadcast_to(b, a.shape) @ np.swapaxes(a, -1, -2)).as_rotvec()
    return Rotation.from_rotvec(step * weight[:, None]).as_matrix() @ a


def palm_depth(body: Body) -> float:
    """Metres from the wrist's centre down to the lowest skin of a hand laid flat (thumb aside)."""
    wrist, fingers = body.head_of("wrist.L"), body.head_of("finger3-1.L") - body.head_of("wrist.L")
    back = np.cross(body.head_of("finger2-1.L") - body.head_of("finger5-1.L"), fingers)
    hand = body.owned("wrist.L", "finger2", "finger3", "finger4", "finger5", "metacarpal") & (body.vertices[:, 0] > 0)
    return -float(((body.vertices[hand] - wrist) @ frame(fingers, back))[:, 2].min())


def skin(body: Body, placed: Placed, moment: int, *, rest: np.ndarray | None = None, normals: np.ndarray | None = None):
    """Vertices (v, 3) in the world at one moment by linear blend skinning; with rest normals (v, 3), the normals too."""
    t = np.concatenate([placed.turn[moment], placed.shift[moment][:, :, None]], axis=2).reshape(-1, 12).astype(np.float32)
    m = (body.weights @ t).reshape(-1, 3, 4)
    v = body.vertices if rest is None else rest
    out = np.einsum("vij,vj->vi", m[:, :, :3], v) + m[:, :, 3]
    return out if normals is None else (out, np.einsum("vij,vj->vi", m[:, :, :3], normals))
