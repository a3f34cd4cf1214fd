"""Everything in a picture but the athlete: camera, hall, boxes, other children, spotters, things in front. World: metres, z up, floor 0."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .bodies import HAIR, Bodies
from .clothes import MATERIAL, Outfit, any_colour, any_material, dress
from .poses import Kind, any_turn, fitting_pose
from .raster import skin, vertex_normals
from .skeleton import Pose, Posed, ReachingArm, pose_body, rx, rz


@dataclass(frozen=True)
class Mesh:
    """A surface of v vertices and f triangles, metres, z up."""

    points: np.ndarray  # (v, 3) world
    faces: np.ndarray  # (f, 3) int32
    colour: np.ndarray  # (v, 4) RGB, cloth
    rest: np.ndarray  # (v, 3) where patterns are looked up, so that they move with the body
    material: np.ndarray  # MATERIAL scalar
    normals: np.ndarray | None = None

    def moved(self, turn: np.ndarray, shift: np.ndarray) -> Mesh:
        return replace(self, points=(self.points @ turn.T + shift).astype(np.float32), normals=None)

    def finished(self) -> Mesh:
        """With vertex normals."""
        return self if self.normals is not None else replace(self, normals=vertex_normals(self.points, self.faces))


@dataclass(frozen=True)
class Camera:
    """An eye in the world (metres, z up) and where it looks; a pinhole."""

    eye: np.ndarray  # (3,)
    axes: np.ndarray  # (3, 3) rows: right, down, ahead

    @classmethod
    def looking(cls, eye: np.ndarray, at: np.ndarray, roll: float = 0.0) -> Camera:
        """Camera at `eye` aimed `at` a point, turned by `roll` degrees about its axis."""
        ahead = (at - eye) / np.linalg.norm(at - eye)
        right = np.cross(ahead, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        up, c, s = np.cross(right, ahead), np.cos(np.deg2rad(roll)), np.sin(np.deg2rad(roll))
        right, up = right * c + up * s, up * c - right * s
        return cls(eye, np.stack([right, -up, ahead]))

    def see(self, points: np.ndarray) -> np.ndarray:
        """(n, 3) world -> (n, 3): right, down, depth, metres."""
        return (points - self.eye) @ self.axes.T

    def flat(self, points: np.ndarray) -> np.ndarray:
        """(n, 3) world -> (n, 2) at depth 1."""
        seen = self.see(points)
        return seen[:, :2] / seen[:, 2:]

    @property
    def level_ahead(self) -> np.ndarray:
        """(3,) unit vector ahead, along the floor."""
        ahead = np.array([*self.axes[2, :2], 0.0])
        return ahead / np.linalg.norm(ahead)

    @property
    def level_right(self) -> np.ndarray:
        """(3,) unit vector to the right, along the floor."""
        ahead = self.level_ahead
        return np.array([ahead[1], -ahead[0], 0.0])


# ---- people -------------------------------------------------------------------------------------------------


def body_mesh(bodies: Bodies, posed: Posed, outfit: Outfit, rng: np.random.Generator) -> Mesh:
    """A posed, dressed body; loose cloth stands off the skin in soft waves."""
    rest = bodies.vertices[posed.body]
    if outfit.looseness.any():
        wave, phase = rng.uniform(5, 14), rng.uniform(0, 6)
        ripple = 1 + 0.5 * np.sin(rest @ np.array([wave, wave * 0.7, wave * 1.3]) + phase)
        rest = rest + vertex_normals(rest, bodies.faces) * (outfit.looseness * ripple)[:, None]
    bones = np.concatenate([posed.rotation, posed.translation[:, :, None]], axis=2)
    return Mesh(skin(rest, bodies.bone_of, bodies.weight, bones), bodies.faces, outfit.colour, bodies.vertices[posed.body], outfit.material)


def _sphere(rings: int = 10) -> tuple[np.ndarray, np.ndarray]:
    theta, phi = np.meshgrid(np.linspace(0, np.pi, rings), np.linspace(0, 2 * np.pi, 2 * rings, endpoint=False), indexing="ij")
    points = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], -1).reshape(-1, 3)
    faces = []
    for i in range(rings - 1):
        for j in range(2 * rings):
            a, b = i * 2 * rings + j, i * 2 * rings + (j + 1) % (2 * rings)
            faces += [[a, a + 2 * rings, b], [b, a + 2 * rings, b + 2 * rings]]
    return points, np.array(faces, np.int32)


_SPHERE = _sphere()


def hair_mesh(bodies: Bodies, posed: Posed, hair: np.ndarray, rng: np.random.Generator) -> Mesh | None:
    """A bun, a ponytail or plaits, or nothing."""
    pick, head, v = rng.random(), bodies.index["head"], bodies.vertices[posed.body]
    if pick > 0.65:
        return None
    radius = np.full(3, rng.uniform(0.03, 0.055)) * max(bodies.height[posed.body] / 1.6, 0.75)
    scalp = v[bodies.region == HAIR].astype(float)
    back = scalp[(abs(scalp[:, 0]) < 0.02) & (scalp[:, 1] > scalp[:, 1].mean())]
    root = back[rng.integers(len(back))]
    outward = (root - scalp.mean(0)) / np.linalg.norm(root - scalp.mean(0))
    middle = root + outward * radius[0] * rng.uniform(0.2, 0.6)
    if pick < 0.25:  # a tail hangs
        radius = radius * np.array([0.75, 0.75, 2.2])
        middle = root + outward * radius[0] * 0.5 - np.array([0, 0, radius[2] * 0.6])
    points = (_SPHERE[0] * radius + middle) @ posed.rotation[head].T + posed.translation[head]
    colour = np.tile(np.r_[hair, 0], (len(points), 1)).astype(np.float32)
    return Mesh(points.astype(np.float32), _SPHERE[1], colour, _SPHERE[0].astype(np.float32), np.zeros((), MATERIAL))


class Crowd:
    """Dressed people to stand around; posing is dear, so a stock of them is kept and renewed one at a time."""

    STOCK = 24
    _KINDS = (Kind.UPRIGHT, Kind.UPRIGHT, Kind.MIXED, Kind.MIXED, Kind.CARTWHEEL, Kind.LUNGE, Kind.SHOULDER_STAND, Kind.TUCK)

    def __init__(self, bodies: Bodies, members: list[int]) -> None:
        self.bodies, self.members, self.stock = bodies, members, []

    def _new(self, rng: np.random.Generator) -> Mesh:
        body = int(rng.choice(self.members))
        _, posed = fitting_pose(self.bodies, body, Kind(str(rng.choice(self._KINDS))), rng, tries=2)
        mesh = body_mesh(self.bodies, posed, dress(self.bodies, body, rng), rng)
        middle, low = mesh.points.mean(0), mesh.points[:, 2].min()
        return mesh.moved(np.eye(3), -np.array([middle[0], middle[1], low]))

    def one(self, rng: np.random.Generator) -> Mesh:
        """Somebody on the floor at the origin."""
        if len(self.stock) < self.STOCK:
            self.stock.append(self._new(rng))
            return self.stock[-1]
        k = int(rng.integers(self.STOCK))
        if rng.random() < 0.25:
            self.stock[k] = self._new(rng)
        return self.stock[k]

    def around(self, camera: Camera, rng: np.random.Generator) -> list[Mesh]:
        """Nobody, one or two near, or a row watching from behind; sometimes one nearer to the camera, to the side."""
        pick, out = rng.random(), []
        if pick < 0.42:
            return out
        count, row = (int(rng.integers(1, 3)), False) if pick < 0.8 else (int(rng.integers(3, 7)), True)
        back = rng.uniform(0.6, 2.5)
        for k in range(count):
            if row:
                depth, aside = back + rng.normal(0, 0.15), (k - count / 2) * rng.uniform(0.4, 0.7) + rng.normal(0, 0.2)
            else:
                depth, aside = (
                    (rng.uniform(0.2, 3.0) if rng.random() < 0.85 else rng.uniform(-0.9, 0)),
                    rng.uniform(0.45, 1.8) * rng.choice([-1, 1]),
                )
                if depth < 0:
                    aside = np.sign(aside) * rng.uniform(1.1, 2.1)
            place = camera.level_ahead * depth + camera.level_right * aside
            out.append(self.one(rng).moved(rz(rng.uniform(-180, 180)), place))
        return out

    def spotter(self, athlete: Posed, camera: Camera, rng: np.random.Generator) -> Mesh:
        """Somebody beside the athlete, behind it as the camera sees, with one or both hands on the back, hips or thighs."""
        bodies = self.bodies
        tall = [b for b in self.members if bodies.height[b] > 1.5] or self.members
        body = int(rng.choice(tall))
        aim = athlete.joint(str(rng.choice(["spine03", "spine05", "upperleg01.L", "upperleg01.R", "spine01"])))
        depth, aside = (rng.uniform(0.3, 0.65) if rng.random() < 0.8 else -rng.uniform(0.35, 0.6)), rng.normal(0, 0.35)
        place = np.array([*aim[:2], 0.0]) + camera.level_ahead * depth + camera.level_right * aside
        face = np.rad2deg(np.arctan2(*(aim - place)[:2])) + 180  # the body's front is -y
        turn = rz(-face)
        low = aim[2] < 0.75
        bend = rng.uniform(20, 60) if low and rng.random() < 0.5 else rng.uniform(0, 25)
        kneel = low and bend < 30
        pose = Pose(
            root=rx(bend), hip=(95.0, 20.0) if kneel else (bend + 5, bend + 5), knee=(95.0, 105.0) if kneel else (rng.uniform(0, 25),) * 2,
            neck=rng.uniform(-15, 25), abduction=(8.0, 8.0),
        )  # fmt: skip
        standing = pose_body(bodies, body, pose)
        floor = min(standing.joints[:, 2].min(), standing.joint("foot.L")[2]) - 0.07 * bodies.height[body] / 1.6
        target = (aim - place) @ turn + np.array([0, 0, floor])  # into the spotter's own frame

        def hand(_rotation, _shift, side):
            return target + np.array([0.08 if side == "L" else -0.08, 0.03, 0.0])

        reach = ReachingArm(hand, lambda rotation, _, side: rotation[0] @ np.array([0.8 if side == "L" else -0.8, 0.3, -0.5]), 0.1)
        arms = (reach, reach) if rng.random() < 0.6 else ((reach, pose.arms[1]) if rng.random() < 0.5 else (pose.arms[0], reach))
        mesh = body_mesh(bodies, pose_body(bodies, body, pose.but(arms=arms)), dress(bodies, body, rng), rng)
        return mesh.moved(turn, place - np.array([0, 0, mesh.points[:, 2].min()]))


# ---- things -------------------------------------------------------------------------------------------------

_BOX = np.array([[x, y, z] for x in (-0.5, 0.5) for y in (-0.5, 0.5) for z in (0, 1)], float)
_BOX_FACES = np.array(
    [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
)
_THING_SHARES = (0.5, 0.3, 0.1, 0.1)


def box(place: np.ndarray, size: np.ndarray, turn: np.ndarray, rng: np.random.Generator) -> Mesh:
    """A box (mat, bench, bar, vault) standing on `place`."""
    points = ((_BOX * size) @ turn.T + place)[_BOX_FACES].reshape(-1, 3).astype(np.float32)
    colour = np.tile(np.r_[any_colour(rng), 1], (36, 1)).astype(np.float32)
    return Mesh(points, np.arange(36, dtype=np.int32).reshape(12, 3), colour, points, any_material(rng, _THING_SHARES, (2, 15), (2, 15)))


def things(camera: Camera, rng: np.random.Generator) -> list[Mesh]:
    """Mats, benches and boxes standing behind."""
    out = []
    for _ in range(rng.poisson(2.5)):
        place = camera.level_ahead * rng.uniform(0.9, 4) + camera.level_right * rng.uniform(-3, 3)
        out.append(
            box(place, np.array([rng.uniform(0.1, 1.6), rng.uniform(0.1, 1.2), rng.uniform(0.08, 1.9)]), rz(rng.uniform(0, 180)), rng)
        )
    return out


def in_front(camera: Camera, middle: np.ndarray, height: float, rng: np.random.Generator) -> Mesh:
    """A bar or a box between camera and athlete."""
    line = middle - camera.eye
    at = middle - line * rng.uniform(0.25, 0.7) + camera.level_right * rng.uniform(-0.5, 0.5) * height
    if rng.random() < 0.5:
        turn = any_turn(rng)
        at = at + np.array([0, 0, rng.uniform(-0.2, 0.2) * height])
        return box(at - turn @ np.array([0, 0, 2.0]), np.array([rng.uniform(0.02, 0.06), rng.uniform(0.02, 0.06), 4.0]), turn, rng)
    at[2] = 0
    return box(at, np.array([rng.uniform(0.1, 0.5), rng.uniform(0.1, 0.5), rng.uniform(0.1, 0.6) * height]), rz(rng.uniform(0, 180)), rng)


_HALL_SHARES = (0.3, 0.4, 0.1, 0.06, 0.04, 0.1)


def floor_and_wall(camera: Camera, rng: np.random.Generator) -> tuple[tuple, tuple, np.ndarray]:
    """(colour, material) of the floor and of one wall behind, and the wall's plane (4,)."""
    floor, wall = (any_material(rng, _HALL_SHARES, (1.5, 15), (0.5, 4)) for _ in range(2))
    for material in (floor, wall):
        material["direction"] = [*(rz(rng.uniform(0, 360))[0, :2]), 0]
    if rng.random() < 0.5:  # mats laid edge to edge
        floor["line_spacing"], floor["line_shade"] = rng.uniform(0.5, 2), rng.uniform(0.5, 1.4)
    if rng.random() < 0.4:  # a darker or lighter dado
        wall["line_spacing"], wall["line_shade"] = rng.uniform(0.1, 1.3), rng.uniform(0.5, 1.4)
    facing = np.arctan2(camera.axes[2, 1], camera.axes[2, 0]) + rng.normal(0, 0.35)
    plane = np.array([np.cos(facing), np.sin(facing), 0, rng.uniform(1.2, 7)])
    return (any_colour(rng) * 0.9, floor), (any_colour(rng), wall), plane
