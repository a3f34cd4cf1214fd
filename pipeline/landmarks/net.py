"""The landmark network on one crop: LiteRT in, points with their confidence out. The only module that runs it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError
from pipeline.landmarks.crops import SIZE, Crop, cut
from pipeline.landmarks.heatmaps import refine
from pipeline.landmarks.track import INDEX, N

JOINTS = tuple(INDEX[f"{side}_{part}"] for part in ("shoulder", "elbow", "hip", "knee", "ankle") for side in ("left", "right"))
CHANNELS = 48  # of the layer that heatmaps are made of
FEATURES = len(JOINTS) * CHANNELS + 39 * 3
HIPS, TOP = 33, 34  # the two steering points after the 33 landmarks: middle of the hips, top of the circle round the body
POINTS = 39


@dataclass(frozen=True)
class Guess:
    """What the network sees in one crop, in the picture's pixels."""

    xy: np.ndarray  # (33, 2)
    z: np.ndarray  # (33,) depth from the middle of the hips, same pixels, away from the camera positive
    visibility: np.ndarray  # (33,) 0..1
    peak: np.ndarray  # (33,) 0..1 height of each landmark's heatmap near the point
    presence: float  # 0..1 that a person is in the crop
    centre: np.ndarray  # (2,) middle of the hips, as steering point
    top: np.ndarray  # (2,) top of the circle round the body


class LandmarkNet:
    """Runs one model file on one thread. Not shared between threads."""

    def __init__(self, path: Path) -> None:
        from ai_edge_litert.interpreter import Interpreter

        try:
            self._net = Interpreter(str(path), num_threads=1)
            self._net.allocate_tensors()
            self._input = self._net.get_input_details()[0]["index"]
            by_shape = {tuple(int(v) for v in d["shape"]): d["index"] for d in self._net.get_output_details()}
            self._points, self._presence = by_shape[1, POINTS * 5], by_shape[1, 1]
            self._heatmaps = by_shape[1, 64, 64, POINTS]
            self._inner, self._space = by_shape.get((1, 64, 64, CHANNELS)), by_shape.get((1, POINTS * 3))
        except (ValueError, KeyError, RuntimeError) as error:
            raise MatsideError(
                f"{path}: not a landmark model of the pose family (39 points with heatmaps from a 256 x 256 crop): {error}."
            ) from error

    def __call__(self, image: np.ndarray, crop: Crop, *, mirrored: bool = False) -> Guess:
        """Landmarks inside one crop of an RGB picture. `mirrored` looks at the crop's mirror image and undoes it."""
        return self.read(cut(image, crop), crop, mirrored=mirrored)

    def read(self, pixels: np.ndarray, crop: Crop, *, mirrored: bool = False) -> Guess:
        """Landmarks of (256, 256, 3) pixels that were cut out as `crop`."""
        import cv2

        self._run(cv2.flip(pixels, 1) if mirrored else pixels)
        raw, presence = self._numbers()
        points, peak = refine(raw[:, :2], self._net.tensor(self._heatmaps)()[0])  # read where they lie: they are large
        z, visibility = raw[:N, 2], 1 / (1 + np.exp(-np.clip(raw[:N, 3], -60, 60)))
        points = points - 0.5  # the model counts from the corner of a pixel, the crop from its middle
        if mirrored:
            points[:, 0] = 255 - points[:, 0]
            points[:N], peak[:N], z, visibility = points[MIRROR], peak[MIRROR], z[MIRROR], visibility[MIRROR]
        placed = crop.to_picture(points)
        return Guess(placed[:N], z * (crop.side / 256), visibility, peak[:N], presence, placed[HIPS], placed[TOP])

    def features(self) -> np.ndarray | None:
        """(FEATURES,) what the network made of the last look beyond its points, as it looked at it (a mirrored body's left is the picture's):
        the layer that its heatmaps are made of at JOINTS, between its four nearest cells, then its points in space. None where the file
        does not give that layer (see `models.inner_file`)."""
        if self._inner is None or self._space is None:
            return None
        points = self._numbers()[0][list(JOINTS), :2]
        return np.concatenate([between_cells(self._net.tensor(self._inner)()[0], points).ravel(), self._net.get_tensor(self._space)[0]])

    def raw(self, pixels: np.ndarray) -> tuple[np.ndarray, float, np.ndarray]:
        """(39, 5) x, y, z, visibility and presence logits; the crop's presence; (64, 64, 39) heatmap logits."""
        self._run(pixels)
        return *self._numbers(), self._net.get_tensor(self._heatmaps)[0]

    def _run(self, pixels: np.ndarray) -> None:
        np.multiply(pixels, np.float32(1 / 255), out=self._net.tensor(self._input)()[0], dtype=np.float32)
        self._net.invoke()

    def _numbers(self) -> tuple[np.ndarray, float]:
        return self._net.get_tensor(self._points)[0].reshape(POINTS, 5), float(self._net.get_tensor(self._presence)[0, 0])


def between_cells(layer: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(k, c) of a layer (n, n, c), rows first, at points (k, 2) of a crop; beyond its edge the edge's."""
    n = len(layer)
    at = np.clip(points / SIZE * n - 0.5, 0, n - 1)
    low = np.minimum(at.astype(int), n - 2)
    (fx, fy), (x, y) = (at - low).T[..., None], low.T
    upper = (1 - fx) * layer[y, x] + fx * layer[y, x + 1]
    lower = (1 - fx) * layer[y + 1, x] + fx * layer[y + 1, x + 1]
    return (1 - fy) * upper + fy * lower


def _mirror() -> np.ndarray:
    from pipeline.landmarks.track import NAMES

    def other(name: str) -> str:
        if "left" in name:
            return name.replace("left", "right")
        return name.replace("right", "left")

    return np.array([INDEX[other(name)] for name in NAMES])


MIRROR = _mirror()
