"""One crop as the landmark model would see it, and everything known about it: `Artist(bodies, members, seed).draw(kind)`."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .anatomy import DEPTH, landmarks
from .bodies import Bodies
from .clothes import any_colour, dress
from .convention import offsets
from .labels import JOINTS, LABEL, SIZE, nobody
from .photo import develop, small_side
from .poses import SHARE, Kind, fitting_pose
from .raster import DepthPicture, Light, hall, shade
from .scene import Camera, Crowd, Mesh, body_mesh, box, floor_and_wall, hair_mesh, in_front, things

RADIUS = 0.942  # the original puts point 34 at this share of the way to the farthest point of the body
REACH = 1.25  # half the crop's side over that radius, as the family's own tracking cuts it
LEAST_SEEN = 0.62  # a body more hidden than this is drawn again


@dataclass(frozen=True)
class Crop:
    """A turned square in the picture at depth 1 and its pixels, the first pixel's middle at 0.5."""

    centre: np.ndarray  # (2,)
    angle: float  # radians; 0: up stays up
    side: float

    @property
    def axes(self) -> np.ndarray:
        """(2, 2) rows: the crop's right and down, in the picture."""
        c, s = np.cos(self.angle), np.sin(self.angle)
        return np.array([[c, s], [-s, c]])

    def pixels(self, flat: np.ndarray) -> np.ndarray:
        return (flat - self.centre) @ self.axes.T * (SIZE / self.side) + SIZE / 2

    def flat(self, pixels: np.ndarray) -> np.ndarray:
        return (pixels - SIZE / 2) @ self.axes * (self.side / SIZE) + self.centre

    def to_direction(self, camera: Camera, scale: float) -> np.ndarray:
        """(3, 3): pixel (x, y, 1) of a picture drawn `scale` times finer -> direction in the world."""
        into = np.zeros((3, 3))
        into[:2, :2] = self.axes.T * (self.side / SIZE / scale)
        into[:2, 2] = self.centre - into[:2, :2] @ np.full(2, SIZE / 2 * scale)
        into[2, 2] = 1
        return camera.axes.T @ into


class TooHidden(Exception):
    """The athlete of this drawing is hardly to be seen."""


class Artist:
    """Draws crops from a seeded stream of randomness; members: the bodies it may use. Labels are in SIZE pixels whatever FINE is."""

    FINE = 1.0  # pixels a side of what is drawn, in SIZE

    def __init__(self, bodies: Bodies, members: list[int], seed) -> None:
        self.bodies, self.members, self.rng = bodies, members, np.random.default_rng(seed)
        self.crowd = Crowd(bodies, members)
        self.to_family = offsets()  # metres of a 1.6 m body
        self.keep_family = self.to_family.copy()
        self.keep_family[list(JOINTS)] = 0  # face, hands, heels and toes stay where the original marks them

    def any_kind(self) -> Kind:
        return Kind(str(self.rng.choice([str(k) for k in SHARE], p=list(SHARE.values()))))

    def draw(self, kind: Kind | None = None, *, gentle: bool = False) -> tuple[np.ndarray, np.ndarray]:
        """A (256 * FINE, 256 * FINE, 3) uint8 RGB crop and its LABEL scalar. gentle: upright crop, nothing in front, no blur or noise."""
        kind = self.any_kind() if kind is None else kind
        for _ in range(20):
            try:
                return self._draw_person(kind, gentle)
            except TooHidden:
                continue
        raise RuntimeError(f"20 drawings of {kind} in a row were hidden; the scene's ranges are off")

    # ---- a person ----

    def _draw_person(self, kind: Kind, gentle: bool) -> tuple[np.ndarray, np.ndarray]:
        bodies, rng = self.bodies, self.rng
        body = int(rng.choice(self.members))
        height = bodies.height[body]
        pose, posed = fitting_pose(bodies, body, kind, rng)
        outfit = dress(bodies, body, rng)
        mesh = body_mesh(bodies, posed, outfit, rng)
        middle = mesh.points.mean(0)
        on_floor = np.array([-middle[0], -middle[1], pose.lift - mesh.points[:, 2].min()])
        posed, mesh = posed.moved(np.eye(3), on_floor), mesh.moved(np.eye(3), on_floor)
        anatomical, frames = landmarks(bodies, posed, mesh.points)
        points = anatomical + np.einsum("kij,kj->ki", frames, self.keep_family * (height / 1.6))
        athlete = [mesh, hair] if (hair := hair_mesh(bodies, posed, outfit.hair, rng)) else [mesh]

        camera = self._camera(kind, mesh.points.mean(0), height)
        flat, outline = camera.flat(points), camera.flat(mesh.points[::7].astype(float))
        hips = flat[[23, 24]].mean(0)
        radius = RADIUS * np.linalg.norm(np.r_[outline, flat] - hips, axis=1).max()
        crop, tilt = self._crop(kind, flat, hips, radius, gentle)

        others: list[Mesh] = []
        if not gentle:
            others = self.crowd.around(camera, rng) + things(camera, rng)
            if rng.random() < (0.1 if kind is Kind.UPRIGHT else 0.18):
                others.append(self.crowd.spotter(posed, camera, rng))
            if rng.random() < 0.16:
                others.append(in_front(camera, mesh.points.mean(0), height, rng))
        image, picture, scale, side = self._paint(athlete, others, camera, crop, gentle)
        image, framed = self._edge(image, crop, outline, flat, hips, gentle)
        image = develop(image, rng, side=side, gentle=gentle)

        label = np.zeros((), LABEL)
        seen3 = camera.see(points)
        into_crop = np.eye(3)
        into_crop[:2, :2] = crop.axes
        world = (seen3 - seen3[[23, 24]].mean(0)) @ into_crop.T
        per_metre = SIZE / crop.side / seen3[[23, 24], 2].mean()
        label["xy"], label["world"], label["z"] = crop.pixels(flat), world, world[:, 2] * per_metre
        label["framed"], label["marked"] = framed, 1
        label["seen"] = np.where(framed, self._seen(picture, crop.pixels(flat) * scale, seen3[:, 2], height), 0)
        up = flat[[11, 12]].mean(0) - hips
        up = up / (np.linalg.norm(up) + 1e-12) if np.linalg.norm(up) > 0.02 * radius else np.array([0.0, -1.0])
        label["aux"] = crop.pixels(np.stack([hips, hips + up * radius]))
        family = np.einsum("kij,kj->ki", frames, (self.to_family - self.keep_family) * (height / 1.6))
        label["family"] = (family @ (into_crop @ camera.axes).T)[:, :2] * per_metre
        label["kind"], label["tilt"], label["height"], label["person"] = list(Kind).index(kind), np.rad2deg(tilt), height, 1
        label["torso"] = np.linalg.norm(points[[11, 12]].mean(0) - points[[23, 24]].mean(0)) * per_metre
        label["whole"] = framed.all()
        label["easy"] = kind is Kind.UPRIGHT and abs(np.rad2deg(tilt)) < 30
        return image, label

    def _camera(self, kind: Kind, middle: np.ndarray, height: float) -> Camera:
        """A phone at knee to head height; azimuth 0 faces the athlete, 90 sees it from the side."""
        rng, pick = self.rng, self.rng.random()
        side_on = 90 * rng.choice([-1, 1]) + rng.normal(0, 14)
        azimuth = side_on if pick < 0.5 else rng.uniform(-45, 45) if pick < 0.78 else rng.uniform(-180, 180)
        if kind is Kind.UPRIGHT:
            azimuth = rng.uniform(-50, 50) if rng.random() < 0.7 else side_on
        if kind is Kind.CARTWHEEL and rng.random() < 0.6:
            azimuth = rng.normal(0, 18) + (180 if rng.random() < 0.25 else 0)
        far = rng.uniform(2.2, 7.0) * max(0.7, height / 1.6)
        eye = np.array([np.sin(np.deg2rad(azimuth)) * far, -np.cos(np.deg2rad(azimuth)) * far, rng.uniform(0.35, 1.8)])
        return Camera.looking(eye, middle + rng.normal(0, 0.12, 3), rng.normal(0, 3))

    def _crop(self, kind: Kind, flat: np.ndarray, hips: np.ndarray, radius: float, gentle: bool) -> tuple[Crop, float]:
        """The crop the family's tracking would cut, then moved as a crop from the frame before would be."""
        rng = self.rng
        up = flat[[11, 12]].mean(0) - hips
        upright = np.arctan2(up[0], -up[1]) if np.linalg.norm(up) > 0.02 * radius else 0.0
        pick = rng.random()
        tilt = rng.uniform(-180, 180) if pick < 0.10 else rng.uniform(-35, 35) if pick < 0.75 else rng.normal(0, 6)
        scale, shift = np.exp(rng.uniform(np.log(0.8), np.log(1.3))), rng.uniform(-0.1, 0.1, 2)
        if kind is Kind.UPRIGHT and rng.random() < 0.6:
            tilt, scale, shift = rng.normal(0, 8), np.exp(rng.normal(0, 0.07)), rng.normal(0, 0.02, 2)
        if gentle:
            tilt, scale, shift = 0.0, 1.0, np.zeros(2)
        crop = Crop(hips, upright + np.deg2rad(tilt), 2 * REACH * radius * scale)
        return Crop(hips + shift @ crop.axes * crop.side, crop.angle, crop.side), np.deg2rad(tilt)

    # ---- the picture ----

    @property
    def size(self) -> int:
        """Pixels a side of what is drawn."""
        return round(SIZE * self.FINE)

    def _phone_side(self) -> int:
        """Pixels of the crop in the phone's picture; 0 for at least as many as are drawn."""
        return small_side(self.rng)

    def _paint(
        self, athlete: list[Mesh], others: list[Mesh], camera: Camera, crop: Crop, gentle: bool
    ) -> tuple[np.ndarray, DepthPicture, float, int]:
        """Draw all meshes. Returns the image (size, size, 3) float, the depth picture, how much finer than a label's pixels that is, and
        the phone's own size."""
        rng = self.rng
        side = 0 if gentle else self._phone_side()
        scale = self.FINE * (2 if gentle or not (side or rng.random() < 0.3) else 1)
        light = self._light(athlete[0].points.mean(0) if athlete else np.array([0, 0, 0.7]), camera)
        picture, meshes, first, alone = DepthPicture(round(SIZE * scale)), [], 0, 0
        for k, mesh in enumerate(m.finished() for m in athlete + others):
            seen = camera.see(mesh.points.astype(float))
            ahead = seen[:, 2] > 0.08
            inverse = np.where(ahead, 1 / np.where(ahead, seen[:, 2], 1), -1)
            picture.draw(np.c_[crop.pixels(seen[:, :2] * inverse[:, None]) * scale, inverse], mesh.faces, first)
            light.cast(mesh.points, mesh.faces)
            meshes.append(mesh)
            first += len(mesh.faces)
            if k == len(athlete) - 1:
                alone, own_faces = np.count_nonzero(picture.face >= 0), first
        if athlete and np.count_nonzero((picture.face >= 0) & (picture.face < own_faces)) < LEAST_SEEN * alone:
            raise TooHidden
        image = np.zeros((picture.size, picture.size, 3), np.float32)
        if rng.random() < 0.88:
            floor, wall, plane = floor_and_wall(camera, rng)
            hall(image, crop.to_direction(camera, scale), camera.eye, floor, wall, plane, any_colour(rng), light)
        else:
            image[:] = _blotches(rng, picture.size)
        if meshes:
            shade(picture, image, meshes, np.stack([m.material for m in meshes]), camera.eye, light)
        return cv2.resize(np.clip(image, 0, 1), (self.size, self.size), interpolation=cv2.INTER_AREA), picture, scale, side

    def _light(self, middle: np.ndarray, camera: Camera) -> Light:
        rng = self.rng
        around, high = rng.uniform(0, 2 * np.pi), np.deg2rad(rng.uniform(25, 85))
        direction = np.array([np.cos(high) * np.cos(around), np.cos(high) * np.sin(around), np.sin(high)])
        colour = rng.uniform(0.3, 0.9) * (1 + rng.normal(0, 0.05, 3))
        ambient = rng.uniform(0.4, 0.8) * (1 + rng.normal(0, 0.04, 3))
        return Light(direction, colour, ambient, rng.uniform(0.25, 0.95), middle, 1.6)

    def _edge(
        self, image: np.ndarray, crop: Crop, outline: np.ndarray, flat: np.ndarray, hips: np.ndarray, gentle: bool
    ) -> tuple[np.ndarray, np.ndarray]:
        """At times end the phone's picture inside the crop: black beyond, or the edge carried on. Returns image, framed (33,) bool."""
        rng = self.rng
        if gentle or rng.random() > 0.3:
            return image, np.ones(33, bool)
        half = np.abs(outline - hips).max(0) * np.exp(rng.uniform(-0.05, 0.7)) + 0.02
        middle = hips + rng.normal(0, 0.08, 2) * half
        grid = np.stack(np.meshgrid(np.arange(self.size) + 0.5, np.arange(self.size) + 0.5), -1)
        at = crop.flat(grid / self.FINE)
        if rng.random() < 0.5:
            beyond = (np.abs(at - middle) > half).any(-1)
            image[beyond] = 0
        else:
            held = (crop.pixels(np.clip(at, middle - half, middle + half)) * self.FINE).astype(np.float32) - 0.5
            image = cv2.remap(image, held[..., 0], held[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return image, (np.abs(flat - middle) <= half).all(1)

    def _seen(self, picture: DepthPicture, at: np.ndarray, depth: np.ndarray, height: float) -> np.ndarray:
        """(33,) 1 seen, 0 hidden or outside, -1 too close to tell: from the depth of the first surface there."""
        nearest = picture.depth.reshape(picture.size, picture.size)
        out = np.zeros(33)
        for j, (x, y) in enumerate(np.floor(at).astype(int)):
            if 0 <= x < picture.size and 0 <= y < picture.size:
                surface = np.median(nearest[max(0, y - 1) : y + 2, max(0, x - 1) : x + 2])
                behind = depth[j] - (1 / surface if surface > 0 else 1e9)
                allowed = DEPTH[j] * height / 1.7
                out[j] = 1 if behind < allowed + 0.02 else 0 if behind > allowed + 0.075 else -1
        return out

    # ---- nobody ----

    def draw_nobody(self) -> tuple[np.ndarray, np.ndarray]:
        """A crop without a person: a hall with things in it, or blotches and shapes."""
        rng = self.rng
        if rng.random() < 0.25:
            image = _blotches(rng, self.size).astype(np.float32)
            for _ in range(rng.integers(0, 9)):
                cv2.fillPoly(image, [((rng.random((4, 2)) * 300 - 20) * self.FINE).astype(np.int32)], [float(c) for c in any_colour(rng)])
            return develop(np.clip(image, 0, 1), rng, side=self._phone_side()), nobody()
        camera = self._camera(Kind.MIXED, np.array([0, 0, rng.uniform(0.3, 1.2)]), 1.4)
        flat = camera.flat(np.array([[0, 0, 0.7], [0, 0, 1.2]]) + rng.normal(0, 0.3, (2, 3)))
        crop = Crop(flat[0], rng.normal(0, 0.3) if rng.random() < 0.7 else rng.uniform(-np.pi, np.pi), rng.uniform(0.25, 0.9))
        scene = things(camera, rng) or [box(camera.level_ahead * 2, np.full(3, 0.5), np.eye(3), rng)]
        image, _, _, side = self._paint([], scene, camera, crop, gentle=False)
        return develop(image, rng, side=side), nobody()


def _blotches(rng: np.random.Generator, size: int) -> np.ndarray:
    cells = int(rng.integers(2, 14))
    small = np.clip(rng.random((cells, cells, 3)) * rng.uniform(0.2, 1) + rng.random(3) * 0.5, 0, 1).astype(np.float32)
    return cv2.resize(small, (size, size), interpolation=cv2.INTER_CUBIC if rng.random() < 0.6 else cv2.INTER_NEAREST)
