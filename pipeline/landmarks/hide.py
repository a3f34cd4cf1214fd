"""Other people painted out of a crop, so that the landmark model looks at the one meant.

The model takes whoever stands out in its crop, and a spotter beside the mat stands out. Where others are is known: they are
followed too. Their bodies, drawn as thick limbs, are filled with the colours around them, except where the athlete is
expected to be.
"""

from __future__ import annotations

import math

import numpy as np

from pipeline.landmarks.crops import SIZE
from pipeline.landmarks.detector import Found
from pipeline.landmarks.paths import torso
from pipeline.landmarks.track import INDEX, N

OTHERS_WIDTH, OWN_WIDTH = 0.42, 0.30  # torsos: thickness of a limb that is painted out, or kept
HEAD = 0.42  # torsos: radius
SOFT = 2  # pixels of the crop that edges are softened by, either way
COARSE = 32  # pixels of the picture that the filling colours are averaged in
LIMBS = tuple(
    (INDEX[f"{side}_{a}"], INDEX[f"{side}_{b}"], width)
    for side in ("left", "right")
    for a, b, width in (
        ("shoulder", "elbow", 0.7), ("elbow", "wrist", 0.6), ("wrist", "index", 0.5), ("hip", "knee", 1.0), ("knee", "ankle", 0.8), ("heel", "foot_index", 0.6),
    )
)  # fmt: skip
TRUNK = [INDEX[n] for n in ("left_shoulder", "right_shoulder", "right_hip", "left_hip")]
LINES = (*((a, b, 1.0) for a, b in zip(TRUNK, TRUNK[-1:] + TRUNK[:-1], strict=True)), *LIMBS)
NOSE, EARS, ANKLE = INDEX["nose"], (INDEX["left_ear"], INDEX["right_ear"]), INDEX["left_ankle"]


def paint_out(pixels: np.ndarray, others: list[np.ndarray], own: np.ndarray | None, *, wide: float = 1.0) -> np.ndarray:
    """The crop (256, 256, 3) without the others. Bodies are (33, 2) in crop pixels; `own` is where the one meant should be.

    wide : how many times as thick as usual the others' limbs are painted.
    """
    import cv2

    mask = np.zeros((SIZE, SIZE), np.uint8)
    for body in others:
        _draw(mask, body, wide * OTHERS_WIDTH, 255)
    if own is not None:
        _draw(mask, own, OWN_WIDTH, 0)
    if not mask.any():
        return pixels
    shown = cv2.bitwise_not(mask)
    small = cv2.resize(cv2.bitwise_and(pixels, pixels, mask=shown), (COARSE, COARSE), interpolation=cv2.INTER_AREA).astype(np.float32)
    share = cv2.resize(shown, (COARSE, COARSE), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    for _ in range(2):
        small, share = cv2.blur(small, (7, 7)), cv2.blur(share, (7, 7))
    filling = np.clip(small / np.maximum(share, 1e-3)[..., None] + 0.5, 0, 255).astype(np.uint8)
    filling = cv2.resize(filling, (SIZE, SIZE), interpolation=cv2.INTER_LINEAR)
    left, top, width, height = cv2.boundingRect(mask)
    part = np.s_[max(top - SOFT, 0) : top + height + SOFT, max(left - SOFT, 0) : left + width + SOFT]  # elsewhere nothing changes
    soft = cv2.blur(shown, (2 * SOFT + 1, 2 * SOFT + 1))[part].astype(np.float32) / np.float32(255)
    out = pixels.copy()
    out[part] = cv2.blendLinear(pixels[part], filling[part], soft, 1 - soft)
    return out


def standing(found: Found) -> np.ndarray:
    """(33, 2) a rough upright body where the detector found one: enough to paint it out before it is followed."""
    up = found.shoulders - found.hips
    across = np.array([-up[1], up[0]])
    body = np.tile(found.hips, (N, 1)).astype(float)
    for sign, side in ((1, "left"), (-1, "right")):
        for part, along, out in (
            ("shoulder", 1.0, 0.2), ("elbow", 0.45, 0.3), ("wrist", 0.0, 0.3), ("index", -0.15, 0.3), ("hip", 0.0, 0.12),
            ("knee", -0.85, 0.12), ("ankle", -1.7, 0.12), ("heel", -1.8, 0.12), ("foot_index", -1.8, 0.12), ("ear", 1.4, 0.1),
        ):  # fmt: skip
            body[INDEX[f"{side}_{part}"]] = found.hips + along * up + sign * out * across
    body[NOSE] = found.hips + 1.4 * up
    return body


def _draw(mask: np.ndarray, body: np.ndarray, width: float, value: int) -> None:
    import cv2

    if not np.isfinite(body).all():
        return
    at = body.tolist()  # a few points of one body: plain numbers are several times as fast
    left, right = at[TRUNK[0]], at[TRUNK[1]]
    neck = (left[0] + right[0]) / 2, (left[1] + right[1]) / 2
    head = [((at[EARS[0]][axis] + at[EARS[1]][axis]) / 2 + at[NOSE][axis]) / 2 for axis in (0, 1)]
    size = max(float(torso(body)), 0.25 * math.hypot(neck[0] - at[ANKLE][0], neck[1] - at[ANKLE][1]))
    places = np.round(np.clip(body, -2000, 2000)).astype(int)
    trunk = cv2.convexHull(places[TRUNK])
    points = places.tolist()
    cv2.fillConvexPoly(mask, trunk, value)
    for a, b, share in LINES:
        cv2.line(mask, points[a], points[b], value, max(int(width * share * size), 1))
    middle, top = ([round(min(max(v, -2000), 2000)) for v in point] for point in (head, neck))
    cv2.circle(mask, middle, max(int(HEAD * width / OTHERS_WIDTH * size), 1), value, -1)
    cv2.line(mask, top, middle, value, max(int(0.7 * width * size), 1))
