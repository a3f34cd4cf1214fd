"""From how many pixels a hand model can tell which way a planted hand points (needs the extra `render` and mediapipe's wheel):

    python -m pipeline.bench hands [--attempts 10]

Cartwheels whose second hand is turned in by known degrees are drawn around that hand, flat on the floor, from where a phone would
stand, four metres off and 1.1 m high; the picture is shrunk until the hand is so many pixels long, and given to the wheel's hand
landmarks with the crop that suits it best (the hand's true place and turn, give or take). Wrist and middle knuckle are carried back
into space through the known camera at their true heights. Prints, for each size, the median and the 90th percentile of the error, and
how often the model says that there is a hand. A real clip has neither place, camera nor heights: it does worse.
"""

from __future__ import annotations

import argparse
import importlib.util
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError

SIZES = (12, 16, 24, 32, 48, 64, 96, 160)  # pixels from wrist to fingertip; about 0.4 of the trunk's
DRAWN = 160
PICTURE = 640
AWAY, HELD = 4.0, 1.1  # metres
LOOKS = (-25.0, 0.0, 25.0)  # degrees off square
INPUT = 224
CROP = 1.4  # hand lengths; with 2.2 the model hardly ever says that there is a hand
MISPLACED, MISTURNED = 0.15, 20.0  # of the hand's length, degrees: how well body landmarks place the crop, sd
MODEL = "modules/hand_landmark/hand_landmark_full.tflite"
WRIST, KNUCKLE = 0, 9


@dataclass(frozen=True)
class Shown:
    """One hand on the floor as seen by one camera."""

    picture: np.ndarray  # (h, w, 3) RGB
    turn: np.ndarray  # (3, 3) rows right, down, ahead
    eye: np.ndarray
    focal: float
    wrist: np.ndarray  # (2,) true pixels
    tip: np.ndarray
    yaw: float  # degrees on the floor, true
    heights: tuple[float, float]  # metres of wrist and middle knuckle above the floor, true

    def at_height(self, pixel: np.ndarray, height: float) -> np.ndarray:
        """(2,) metres where the ray through a pixel comes to this height above the floor."""
        ray = np.array([*(pixel - PICTURE / 2) / self.focal, 1.0]) @ self.turn
        return (self.eye + ray * (self.eye[2] - height) / -ray[2])[:2]


def hands(attempts: int) -> Iterator[Shown]:
    """Planted second hands of some cartwheels, each from several sides."""
    from pipeline.bench.scenes import scene
    from pipeline.stage.camera import Camera
    from pipeline.stage.clothes import dress
    from pipeline.stage.draw import Player, Stage
    from pipeline.stage.hall import build
    from pipeline.stage.scene import act

    for k in range(attempts):
        one = scene("report", 3 + 4 * k)
        acted = act(one)
        span = next((a for a in acted.attempts if a.span.skill == "cartwheel"), None)
        if span is None:
            continue
        rng = np.random.default_rng([k, 77])
        down = {s: np.flatnonzero(acted.low[f"{s}_hand_low"] < 0.010) for s in ("left", "right")}
        down = {s: d[(acted.movement.t[d] > span.key[0] - 0.1) & (acted.movement.t[d] < span.key[1])] for s, d in down.items()}
        if not all(len(d) for d in down.values()):
            continue
        side = max(down, key=lambda s: down[s][0])
        frame = int(down[side][len(down[side]) // 2])
        wrist, tip = (acted.joints[f"{side}_{part}"][frame] for part in ("wrist", "fingertip"))
        players = [Player(dress(acted.body, one.outfit, rng), acted.movement.placed)]
        with Stage(build(one.hall, rng), one.hall, PICTURE, PICTURE, samples=4) as stage:
            for look in LOOKS:
                a = np.radians(look)
                middle = (wrist + tip) / 2
                eye = middle + AWAY * np.array([np.sin(a), -np.cos(a), 0]) + np.array([0, 0, HELD - middle[2]])
                ahead = (middle - eye) / np.linalg.norm(middle - eye)
                right = np.cross(ahead, [0.0, 0.0, 1.0])
                right /= np.linalg.norm(right)
                turn = np.stack([right, np.cross(ahead, right), ahead])
                focal = DRAWN * AWAY / float(np.linalg.norm(tip - wrist))
                n = frame + 1
                camera = Camera(np.tile(turn, (n, 1, 1)), np.tile(eye, (n, 1)), np.full(n, focal), PICTURE, PICTURE)
                picture = stage.picture(camera, frame, players, middle)
                pixels, _ = camera.project(np.stack([wrist, tip]), frame)
                knuckle = (acted.joints[f"{side}_index"][frame] + acted.joints[f"{side}_pinky"][frame]) / 2
                way = (knuckle - wrist)[:2]
                yaw = float(np.degrees(np.arctan2(way[1], way[0])))
                yield Shown(picture, turn, eye, focal, pixels[0], pixels[1], yaw, (float(wrist[2]), float(knuckle[2])))


class HandModel:
    """The wheel's hand landmarks, run through LiteRT on a given crop."""

    def __init__(self) -> None:
        from ai_edge_litert.interpreter import Interpreter

        spec = importlib.util.find_spec("mediapipe")  # finds the package without running it
        if spec is None or spec.origin is None:
            raise MatsideError(
                "mediapipe is not installed: the hand landmarks come in its wheel (0.10.21). Install the requirements again."
            )
        self._net = Interpreter(str(Path(spec.origin).parent / MODEL), num_threads=1)
        self._net.allocate_tensors()
        self._input = self._net.get_input_details()[0]["index"]
        self._out = {d["name"]: d["index"] for d in self._net.get_output_details()}

    def __call__(self, crop: np.ndarray) -> tuple[np.ndarray, float]:
        """((21, 2) pixels of the crop, how surely it is a hand 0..1)."""
        self._net.set_tensor(self._input, (crop[None] / 255.0).astype(np.float32))
        self._net.invoke()
        points = self._net.get_tensor(self._out["Identity"]).reshape(21, 3)[:, :2]
        return points, float(self._net.get_tensor(self._out["Identity_1"])[0, 0])


def yaw_error(shown: Shown, size: int, model: HandModel, rng: np.random.Generator) -> tuple[float, float]:
    """(degrees, how surely a hand) of one hand shrunk to `size` pixels. A hand seen edge-on is shorter than its size says."""
    import cv2

    scale = size / DRAWN
    small = cv2.resize(shown.picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    wrist, tip = shown.wrist * scale, shown.tip * scale
    centre = (wrist + tip) / 2 + rng.normal(0, MISPLACED * size, 2)
    along = tip - wrist
    turn = np.arctan2(along[0], -along[1]) + np.radians(rng.normal(0, MISTURNED))  # clockwise from up
    c, s, zoom = np.cos(turn), np.sin(turn), CROP * size / INPUT
    to_picture = np.array([[c * zoom, -s * zoom, 0], [s * zoom, c * zoom, 0]])
    to_picture[:, 2] = centre - to_picture[:, :2] @ np.array([INPUT / 2, INPUT / 2])
    crop = cv2.warpAffine(small, to_picture, (INPUT, INPUT), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
    points, sure = model(crop)
    found = (points @ to_picture[:, :2].T + to_picture[:, 2]) / scale
    a, b = (shown.at_height(found[i], height) for i, height in zip((WRIST, KNUCKLE), shown.heights, strict=True))
    yaw = np.degrees(np.arctan2(*(b - a)[::-1]))
    return float(abs((yaw - shown.yaw + 180) % 360 - 180)), sure


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--attempts", type=int, default=10, help="cartwheels drawn, each hand from three sides")
    args = parser.parse_args()
    model, rng = HandModel(), np.random.default_rng(0)
    rows: dict[int, list[tuple[float, float]]] = {size: [] for size in SIZES}
    for shown in hands(args.attempts):
        for size in SIZES:
            rows[size] += [yaw_error(shown, size, model, rng) for _ in range(4)]
    print("hand, pixels   median error   90 % below   said to be a hand   of those, median")
    for size, found in rows.items():
        if found:
            error, sure = np.array(found).T
            kept = error[sure > 0.5]
            of_those = f"{np.median(kept):.0f}" if len(kept) else "-"
            print(f"{size:12d} {np.median(error):14.0f} {np.quantile(error, 0.9):12.0f} {100 * np.mean(sure > 0.5):17.0f} % {of_those:>18}")
    return 0
