"""Which limb is the left one: two looks at one body may name legs or arms the other way round."""

from __future__ import annotations

import numpy as np

from pipeline.landmarks.track import INDEX, N

LEGS = np.array([INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("hip", "knee", "ankle", "heel", "foot_index")]).reshape(2, -1)
ARMS = np.array([INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("shoulder", "elbow", "wrist", "pinky", "index", "thumb")]).reshape(
    2, -1
)
CLEARLY, MUCH_NEARER = 0.25, 0.6  # torsos between the limbs as named; times that, if the other naming is meant


def exchanged(mine: np.ndarray, other: np.ndarray, size: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """The limbs (left's landmarks, right's landmarks) that the second of two (33, 2) bodies names the other way round."""
    out = []
    for left, right in (LEGS, ARMS):
        both, turned = [*left, *right], [*right, *left]
        same = np.linalg.norm(mine[both] - other[both], axis=1).mean()
        if same > CLEARLY * size and np.linalg.norm(mine[both] - other[turned], axis=1).mean() < MUCH_NEARER * same:
            out.append((left, right))
    return out


def as_named(mine: np.ndarray, other: np.ndarray, size: float) -> np.ndarray:
    """(33,) which landmark of the second body is which of the first's."""
    order = np.arange(N)
    for left, right in exchanged(mine, other, size):
        order[left], order[right] = right, left
    return order
