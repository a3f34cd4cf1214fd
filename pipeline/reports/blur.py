"""Nobody can be recognised: the athlete's head and everything that is not the athlete's own body are strongly blurred.

What stays sharp is where the athlete's own limbs and trunk are, found from the landmarks and widened; the head is covered
again on top of that, wherever the landmarks, or the trunk if they are wrong, say it may be.
"""

from __future__ import annotations

import cv2
import numpy as np

from pipeline.landmarks.track import INDEX, Track

HEAD = tuple(INDEX[name] for name in INDEX if INDEX[name] <= INDEX["mouth_right"])
LIMBS = tuple(
    (INDEX[f"{side}_{a}"], INDEX[f"{side}_{b}"])
    for side in ("left", "right")
    for a, b in (("shoulder", "elbow"), ("elbow", "wrist"), ("wrist", "index"), ("hip", "knee"), ("knee", "ankle"), ("ankle", "heel"),
                 ("ankle", "foot_index"), ("heel", "foot_index"))
)  # fmt: skip
TRUNK = tuple(INDEX[name] for name in ("left_shoulder", "right_shoulder", "right_hip", "left_hip"))

# All in torso lengths (middle of the shoulders to middle of the hips), for bodies of about 5 to 11 years.
LIMB_RADIUS = 0.24  # a child's thigh is about 0.2 across its radius, clothes and landmark error included
TRUNK_RADIUS = 0.30
HEAD_RADIUS = 0.48  # a child's head is about 0.7 high: from its middle this covers hair and chin
HEAD_ABOVE_SHOULDERS = 0.50
HEAD_BLUR, BLUR = 0.25, 0.40  # standard deviation of the blur; a child's eyes are about 0.15 apart
BLUR_OF_PICTURE = 0.035  # of the longer side at least: someone nearer to the camera is larger than the athlete
FEATHER = 0.06
WHITE = (255,)


def torso_length(xy: np.ndarray) -> float:
    """The athlete's torso in pixels from (n, 33, 2) points of several frames: the 90th percentile, as a tuck shortens it. NaN if never seen."""
    shoulders = xy[:, TRUNK[:2]].mean(axis=1)
    hips = xy[:, TRUNK[2:]].mean(axis=1)
    lengths = np.linalg.norm(shoulders - hips, axis=1)
    lengths = lengths[np.isfinite(lengths)]
    return float(np.percentile(lengths, 90)) if len(lengths) else float("nan")


def only_the_athlete(image: np.ndarray, xy: np.ndarray, torso: float, *, doubt: float = 0.0) -> np.ndarray | None:
    """A copy of the image in which only the athlete's body below the neck is sharp; None if the head cannot be placed.

    image : (h, w, 3) uint8. xy : (33, 2) the athlete's points in its pixels, NaN = not seen. torso : length in its pixels.
    doubt : pixels by which the head's points may be wrong; its cover grows by as much.
    """
    heads = _heads(xy, torso, doubt)
    if not heads:
        return None
    height, width = image.shape[:2]
    sharp = np.zeros((height, width), np.uint8)
    _paint_body(sharp, xy, torso)
    feather = max(1.0, FEATHER * torso)
    cover = np.zeros((height, width), np.uint8)
    for centre, radius in heads:  # wider by what feathering would take from the cover, and by a pixel for rounding
        cv2.circle(cover, _whole(centre), round(radius) + max(1, round(feather * 2)) + 1, WHITE, -1)
    out = _laid_over(all_blurred(image, torso), image, sharp, feather)
    head = _around(cover, 3 * HEAD_BLUR * torso)  # beyond that nothing blurs into the cover
    if cover[head].size:
        _laid_over(out[head], _blurred(out[head], HEAD_BLUR * torso), cover[head], feather)
    return out


def all_blurred(image: np.ndarray, torso: float) -> np.ndarray:
    """A copy of the image in which nothing is sharp, for a frame whose athlete is not known."""
    return _blurred(image, max(BLUR * torso, BLUR_OF_PICTURE * max(image.shape[:2])))


def head_doubt(track: Track, row: int) -> float:
    """Pixels by which the passes disagree about the head in one frame of a track."""
    apart = track.disagreement[row, list(HEAD)]
    apart = apart[np.isfinite(apart)]
    return float(np.median(apart)) if len(apart) else 0.0


def _heads(xy: np.ndarray, torso: float, doubt: float) -> list[tuple[np.ndarray, float]]:
    """Circles that cover the head: where its own points are, and where the trunk would carry it."""
    shoulders, hips = xy[list(TRUNK[:2])].mean(axis=0), xy[list(TRUNK[2:])].mean(axis=0)
    out = []
    own = xy[list(HEAD)]
    own = own[np.isfinite(own).all(axis=1)]
    if len(own):
        centre = own.mean(axis=0)
        spread = np.linalg.norm(own - centre, axis=1).max()
        out.append((centre, max(HEAD_RADIUS * torso, spread + 0.30 * torso) + max(0.0, doubt)))
    if np.isfinite(shoulders).all() and np.isfinite(hips).all():
        up = (shoulders - hips) / max(float(np.linalg.norm(shoulders - hips)), 1e-6)
        out.append((shoulders + HEAD_ABOVE_SHOULDERS * torso * up, HEAD_RADIUS * torso))
    else:
        return []
    return out if np.isfinite(torso) and torso > 0 else []


def _paint_body(mask: np.ndarray, xy: np.ndarray, torso: float) -> None:
    seen = np.isfinite(xy).all(axis=1)
    places = _whole(np.nan_to_num(xy))
    for a, b in LIMBS:
        if seen[a] and seen[b]:
            cv2.line(mask, places[a], places[b], WHITE, max(1, round(2 * LIMB_RADIUS * torso)))
    trunk = np.array([places[i] for i in TRUNK if seen[i]], np.int32)
    if len(trunk) >= 3:
        hull = cv2.convexHull(trunk)
        cv2.fillConvexPoly(mask, hull, WHITE)
        cv2.polylines(mask, [hull], True, WHITE, max(1, round(2 * TRUNK_RADIUS * torso)))


def _whole(points: np.ndarray) -> list:
    """Nearest pixels of (..., 2) points, kept within what OpenCV can draw."""
    return np.clip(np.rint(points), -20_000, 20_000).astype(int).tolist()


def _laid_over(below: np.ndarray, above: np.ndarray, mask: np.ndarray, feather: float) -> np.ndarray:
    """`below`, changed in place, with `above` where the mask is set, feathered. Only what lies near the mask is worked on."""
    reach = max(1, round(2 * feather))
    part = _around(mask, reach + 1)
    if not mask[part].size:
        return below
    share = _feathered(mask[part], reach)
    below[part] = cv2.blendLinear(above[part], below[part], share, 1 - share)
    return below


def _around(mask: np.ndarray, reach: float) -> tuple[slice, slice]:
    """The part of a picture that holds a mask and what is nearer to it than so many pixels; nothing where nothing is set."""
    left, top, width, height = cv2.boundingRect(mask)
    more = int(np.ceil(reach)) if width else 0
    return np.s_[max(0, top - more) : top + height + more, max(0, left - more) : left + width + more]


def _feathered(mask: np.ndarray, reach: int) -> np.ndarray:
    """(h, w) float32 from 0 to 1; nothing changes further than `reach` from the mask's edge (and ten times as fast as a Gaussian)."""
    return cv2.stackBlur(mask, (2 * reach + 1, 2 * reach + 1)).astype(np.float32) / np.float32(255)


def _blurred(image: np.ndarray, sigma: float) -> np.ndarray:
    """Gaussian blur done on a small copy: what is thrown away in shrinking cannot be brought back by sharpening."""
    height, width = image.shape[:2]
    shrink = max(1.0, sigma / 2)
    small = cv2.resize(image, (max(2, round(width / shrink)), max(2, round(height / shrink))), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), max(0.5, sigma / shrink), borderType=cv2.BORDER_REPLICATE)
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
