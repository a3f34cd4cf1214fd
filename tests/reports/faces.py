"""Is there a face at this place of a picture? Two detectors, four turns, the head enlarged to the size they are made for.

Detectors: OpenCV's own frontal face cascade, and BlazeFace from mediapipe's wheel (Bazarevsky et al. 2019, arXiv 1907.05047).
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from pipeline.landmarks.track import NAMES
from pipeline.reports.cut import cut_box

SIDE = 300  # pixels of the enlarged head region; a face fills a third to a half of it
BLAZE_SURE = 0.5  # mediapipe's own default
NEAR, WIDEST = 0.35, 1.2  # torso lengths: from the nose to the middle of a face found there; its width (a child's head is about 0.7)


class Detectors:
    """Looks for faces; a context manager, as mediapipe's graphs want to be closed."""

    def __enter__(self) -> Detectors:
        import mediapipe as mp

        self.cascade = cv2.CascadeClassifier(cv2.data.haarcascades + "haarcascade_frontalface_default.xml")
        self.blaze = [mp.solutions.face_detection.FaceDetection(model_selection=m, min_detection_confidence=BLAZE_SURE) for m in (0, 1)]
        return self

    def __exit__(self, *_: object) -> None:
        for blaze in self.blaze:
            blaze.close()

    def face_at(self, image: np.ndarray, head: np.ndarray, torso: float) -> bool:
        """Whether any detector finds a face, no wider than a head, whose middle lies on the head: near the nose at `head` (x, y).

        image : (h, w, 3) RGB. A head outside of the picture has no face in it.
        """
        left, top = (int(v) for v in np.maximum(head - torso, 0))
        region = image[top : int(head[1] + torso), left : int(head[0] + torso)]
        if min(region.shape[:2]) < torso / 2:
            return False
        scale = SIDE / max(region.shape[:2])
        region = cv2.resize(region, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
        place = (head - (left, top)) * scale
        for turn in range(4):
            turned = np.ascontiguousarray(np.rot90(region, turn))
            for x, y, w, h in self._boxes(turned):
                if np.hypot(x + w / 2 - place[0], y + h / 2 - place[1]) < NEAR * torso * scale and w < WIDEST * torso * scale:
                    return True
            place = np.array([place[1], turned.shape[1] - 1 - place[0]])
        return False

    def _boxes(self, image: np.ndarray) -> list[tuple[float, float, float, float]]:
        """Left, top, width, height of each face found in an upright picture."""
        height, width = image.shape[:2]
        found = [tuple(box) for box in self.cascade.detectMultiScale(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), 1.1, 6, minSize=(40, 40))]
        for blaze in self.blaze:
            boxes = [d.location_data.relative_bounding_box for d in blaze.process(image).detections or []]
            found += [(b.xmin * width, b.ymin * height, b.width * width, b.height * height) for b in boxes]
        return found


class Truth:
    """The true joints of a drawn clip, in its pixels."""

    def __init__(self, path: Path) -> None:
        import pandas as pd

        self.table = pd.read_csv(path)
        shoulders, hips = ((self._all(f"left_{name}") + self._all(f"right_{name}")) / 2 for name in ("shoulder", "hip"))
        self.torso = float(np.median(np.hypot(*(shoulders - hips).T)))

    def _all(self, name: str) -> np.ndarray:
        return self.table[[f"{name}_x", f"{name}_y"]].to_numpy(float)

    def at(self, t: float, name: str) -> np.ndarray:
        """(2,) a landmark at the frame nearest to t."""
        return self._all(name)[int((self.table["t"] - t).abs().argmin())]

    def head_in(self, t: float, points: dict[str, tuple[float, float]]) -> tuple[np.ndarray, float]:
        """Where the nose lies in a picture that shows these landmarks at these places, and the picture's scale.

        Pictures are cut out and shrunk, not turned, so two landmarks tell all.
        """
        here, there = np.array([self.at(t, name) for name in points]), np.array(list(points.values()), float)
        spread = here - here.mean(axis=0)
        scale = float((spread * (there - there.mean(axis=0))).sum() / (spread**2).sum())
        return there.mean(axis=0) + scale * (self.at(t, "nose") - here.mean(axis=0)), scale

    def head_in_cut(self, t: float, width: int, clip_width: int, clip_height: int) -> tuple[np.ndarray, float]:
        """The same in a picture `width` wide that holds the whole body: from the cut that the true joints would give."""
        body = np.array([self.at(t, name) for name in NAMES])
        left, top, right, _ = cut_box(body, self.torso, clip_width, clip_height)
        scale = width / (right - left)
        return (self.at(t, "nose") - (left, top)) * scale, scale
