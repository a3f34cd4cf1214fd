"""The ridge behind measures/learnt.py and learnt_frames.py: what is missing to the truth, explained by the numbers of a pose.

Ridge regression (Hoerl and Kennard 1970) on numbers in sds, each counting at most as `learnt.standard` lets it; errors that stray count as
the STRAY quantiles; samples may count by weights. Its tables hold what all bodies teach, and what all but each fifth of them do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.bench.scenes import fifth_of
from pipeline.measures.learnt import ALWAYS, MOST, PARTS_LEFT_OUT, Correction, standard
from pipeline.vocabulary import Skill

STRAY = 0.03
WIDEST = 1.5  # sds of the corrections learnt from: the largest one made
LEAST_SD = 1e-3
HEADING = ",".join(["skill", "detail", "number", "mean", "sd", *map(str, range(PARTS_LEFT_OUT + 1))])  # of the tables


@dataclass(frozen=True)
class Samples:
    """What was read of one detail: pose numbers (n, k), what is missing to the truth (n,), whose it is (n,) and how it counts (n,)."""

    numbers: np.ndarray
    error: np.ndarray
    body: np.ndarray
    weight: np.ndarray

    def where(self, mask: np.ndarray) -> Samples:
        """Those of the mask."""
        return Samples(self.numbers[mask], self.error[mask], self.body[mask], self.weight[mask])

    def weighing(self, share: np.ndarray) -> Samples:
        """The same, each counting by a share (n,)."""
        return Samples(self.numbers, self.error, self.body, self.weight * share)

    @property
    def fifths(self) -> np.ndarray:
        """(n,) which fifth of the bodies each belongs to."""
        return np.array([fifth_of(str(body)) for body in self.body])


def joined(parts: Sequence[Samples]) -> Samples:
    """All of them."""
    return Samples(*(np.concatenate([getattr(p, name) for p in parts]) for name in ("numbers", "error", "body", "weight")))


def usual(of: Samples) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) of each number, of what is known."""
    known = np.isfinite(of.numbers) * of.weight[:, None]
    total = np.maximum(known.sum(axis=0), 1e-9)
    numbers = np.nan_to_num(of.numbers)
    mean = (known * numbers).sum(axis=0) / total
    return mean, np.maximum(np.sqrt((known * (numbers - mean) ** 2).sum(axis=0) / total), LEAST_SD)


def fitted(of: Samples, mean: np.ndarray, sd: np.ndarray, strength: float | np.ndarray, *, with_mean: bool) -> Correction:
    """The correction that explains the errors.

    strength: the pull towards none, in samples (of weight 1) one sd off in every number; of all numbers alike, or (k,) of each.
    with_mean: with what is missing on average, for single frames; without it where the error table's bias says that.
    """
    of = of.where(of.weight > 0)
    z, w = standard(of.numbers, mean, sd), of.weight
    y = np.clip(of.error, *np.quantile(of.error, [STRAY, 1 - STRAY]))
    middle, average = np.average(z, axis=0, weights=w), float(np.average(y, weights=w))
    away = z - middle
    pull = np.broadcast_to(np.asarray(strength, float), z.shape[1])
    if len(y) < z.shape[1]:  # the same weights, found from the samples (the dual form; Saunders, Gammerman and Vovk 1998, from memory)
        weight = away.T @ np.linalg.solve((away / pull) @ away.T + np.diag(1 / w), y - average) / pull
    else:
        weighed = (away * w[:, None]).T
        weight = np.linalg.solve(weighed @ away + np.diag(pull), weighed @ (y - average))
    spread = float(np.sqrt(np.average((away @ weight) ** 2, weights=w)))
    return Correction(mean, sd, weight, WIDEST * spread, average - float(middle @ weight) if with_mean else 0.0)


def without_fifths(of: Samples, strength: float | np.ndarray, *, with_mean: bool) -> list[Correction]:
    """Learnt from all bodies, and without each fifth of them; what is usual is that of all."""
    (mean, sd), fifths = usual(of), of.fifths
    return [fitted(of.where(fifths != k), mean, sd, strength, with_mean=with_mean) for k in range(PARTS_LEFT_OUT + 1)]


def rows(key: tuple[Skill, str], names: Sequence[str], each: Sequence[Correction], *, digits: int, with_mean: bool) -> list[str]:
    """The table's lines of one detail: a number a line, its weights with so many digits, then the whole's limit (and mean)."""
    skill, detail = key
    lines = [
        f"{skill},{detail},{name},{each[0].mean[i]:.4f},{each[0].sd[i]:.4f}," + ",".join(f"{c.weight[i]:.{digits}f}" for c in each)
        for i, name in enumerate(names)
    ]
    lines.append(f"{skill},{detail},{MOST},,," + ",".join(f"{c.most:.2f}" for c in each))
    if with_mean:
        lines.append(f"{skill},{detail},{ALWAYS},,," + ",".join(f"{c.always:.2f}" for c in each))
    return lines
