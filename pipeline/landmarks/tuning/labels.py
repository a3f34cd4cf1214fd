"""What is known of a drawn crop: one structured row of float32, so that a pool of them is one flat file."""

from __future__ import annotations

import numpy as np

SIZE = 256  # pixels, the landmark model's input
JOINTS = (11, 12, 13, 14, 15, 16, 23, 24, 25, 26, 27, 28)  # shoulders, elbows, wrists, hips, knees, ankles

LABEL = np.dtype(
    [
        ("xy", "f4", (33, 2)),  # crop pixels, the first pixel's middle at 0.5; the JOINTS are anatomical centres
        ("z", "f4", (33,)),  # depth from the middle of the hips in crop pixels, away from the camera positive
        ("seen", "f4", (33,)),  # 1 seen, 0 hidden, -1 too close to tell
        ("marked", "f4", (33,)),  # 1 where xy, z and world are known
        ("framed", "f4", (33,)),  # 1 inside the phone's picture, 0 beyond its edge
        ("world", "f4", (33, 3)),  # metres from the middle of the hips, in the crop's axes
        ("aux", "f4", (2, 2)),  # points 33 and 34: middle of the hips; where the next crop's radius and "up" come from
        ("family", "f4", (33, 2)),  # pixels from the anatomical centre to where the original model marks it
        ("kind", "f4"),  # index into list(Kind); -1 without a person
        ("easy", "f4"),  # 1: upright and hardly turned, where the original is right
        ("whole", "f4"),  # 1: nothing beyond the picture's edge
        ("torso", "f4"),  # pixels, seen from square on: middle of the shoulders to middle of the hips
        ("height", "f4"),  # metres, of the body
        ("person", "f4"),  # 0: nobody in the crop
        ("tilt", "f4"),  # degrees the crop is turned against the torso
    ]
)
WIDTH = LABEL.itemsize // 4
SPANS = {name: (LABEL.fields[name][1] // 4, int(np.prod(LABEL[name].shape, dtype=int)), LABEL[name].shape) for name in LABEL.names}


def as_matrix(rows: np.ndarray) -> np.ndarray:
    """(n,) LABEL -> (n, WIDTH) float32, the same memory."""
    return rows.view(np.float32).reshape(len(rows), WIDTH)


def split(matrix) -> dict:
    """(n, WIDTH) array or tensor -> its fields by name, without copying."""
    return {name: matrix[:, start : start + count].reshape(-1, *shape) for name, (start, count, shape) in SPANS.items()}


def nobody() -> np.ndarray:
    """The label of a crop without a person: a scalar LABEL."""
    row = np.zeros((), LABEL)
    row["kind"] = -1
    return row
