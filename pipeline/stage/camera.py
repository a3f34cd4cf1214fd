"""A phone held by hand: where it stands, how it drifts, and where a point in the world lands in the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.stage.rotations import unit
from pipeline.stage.timing import wander


@dataclass(frozen=True)
class Shot:
    """How the clip is filmed."""

    width: int = 960
    height: int = 540
    share: float = 0.5  # of the picture's height that the athlete's stature fills
    up: float = 1.1  # metres the phone is held above the floor
    off_square: float = 0.0  # degrees the view is turned away from square to the mat (about the vertical)
    field: float = 55.0  # degrees of view over the longer side
    shake: float = 1.0  # 0 tripod, 1 a steady hand, 3 a poor one
    roll: float = 0.0  # degrees the phone is tilted
    pan: float = 0.5  # 0 never follows the athlete, 1 keeps them in the middle
    walk: float = 0.0  # 0 the phone stays in its place, 1 it goes along with the athlete
    zoom: float = 1.0  # field shrinks by this factor over the clip


@dataclass(frozen=True)
class Camera:
    """The phone at every frame. turn : (n, 3, 3) rows right, down, ahead; eye : (n, 3); focal : (n,) pixels."""

    turn: np.ndarray
    eye: np.ndarray
    focal: np.ndarray
    width: int
    height: int

    def project(self, points: np.ndarray, frame: int | slice = slice(None)) -> tuple[np.ndarray, np.ndarray]:
        """Pixels (..., 2), y down, pixel centres at .5, and depth (...,) in metres, of points (n, k, 3) (or (k, 3) for one frame)."""
        turn, eye, focal = self.turn[frame], self.eye[frame], self.focal[frame]
        if isinstance(frame, slice):
            local = np.einsum("nij,nkj->nki", turn, points - eye[:, None])
            focal = focal[:, None]
        else:
            local = (points - eye) @ turn.T
        depth = local[..., 2]
        safe = np.where(depth > 0.05, depth, np.nan)
        x = 0.5 * self.width + focal * local[..., 0] / safe
        y = 0.5 * self.height + focal * local[..., 1] / safe
        return np.stack([x, y], -1), depth

    def matrix(self, frame: int, near: float = 0.2, far: float = 40.0) -> np.ndarray:
        """(4, 4) world to clip space for drawing (OpenGL's, y up)."""
        r, f = self.turn[frame], self.focal[frame]
        view = np.eye(4)
        view[:3, :3] = np.diag([1.0, -1.0, -1.0]) @ r
        view[:3, 3] = -view[:3, :3] @ self.eye[frame]
        proj = np.zeros((4, 4))
        proj[0, 0], proj[1, 1] = 2 * f / self.width, 2 * f / self.height
        proj[2, 2], proj[2, 3], proj[3, 2] = -(far + near) / (far - near), -2 * far * near / (far - near), -1
        return proj @ view


def film(shot: Shot, t: np.ndarray, hips: np.ndarray, stature: float, rng: np.random.Generator) -> Camera:
    """The camera for frames at times t; hips : (n, 3) the athlete's, so that the phone can follow; it looks along +y when square."""
    from scipy.ndimage import gaussian_filter1d

    focal = 0.5 * max(shot.width, shot.height) / np.tan(np.radians(shot.field / 2))
    distance = focal * stature / (shot.share * shot.height)
    lo, hi = hips[:, :2].min(axis=0), hips[:, :2].max(axis=0)
    centre = np.array([*(0.5 * (lo + hi)), 0.47 * stature])
    dt = float(np.median(np.diff(t))) if len(t) > 1 else 1 / 30
    followed = gaussian_filter1d(hips[:, 0], 0.35 / dt, mode="nearest")
    aim = np.tile(centre, (len(t), 1))
    aim[:, 0] += shot.pan * (followed - centre[0])
    along = np.zeros((len(t), 3))
    along[:, 0] = shot.walk * (gaussian_filter1d(hips[:, 0], 0.7 / dt, mode="nearest") - centre[0])
    angle = np.radians(shot.off_square)
    stand = centre + distance * np.array([np.sin(angle), -np.cos(angle), 0])
    stand[2] = shot.up
    w = shot.shake
    eye = stand + along + np.stack([wander(t, rng, 0.010 * w, 4.0), wander(t, rng, 0.006 * w, 4.0), wander(t, rng, 0.008 * w, 3.0)], 1)
    aim = aim + np.stack([wander(t, rng, 0.018 * w, 2.5), wander(t, rng, 0.0, 1.0), wander(t, rng, 0.015 * w, 2.0)], 1)
    ahead = unit(aim - eye)
    right = unit(np.cross(ahead, [0.0, 0.0, 1.0]))
    down = np.cross(ahead, right)
    a = np.radians(shot.roll + wander(t, rng, 0.35 * w, 3.0))[:, None]
    right, down = right * np.cos(a) + down * np.sin(a), down * np.cos(a) - right * np.sin(a)
    zoom = shot.zoom ** ((t - t[0]) / max(t[-1] - t[0], 1e-9))
    return Camera(np.stack([right, down, ahead], 1), eye, focal * zoom, shot.width, shot.height)
