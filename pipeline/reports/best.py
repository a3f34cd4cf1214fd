"""The athlete's reading nearest to what is wanted, of each detail, and its curve: to be laid beside the others'."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.measures.reading import Curve
from pipeline.reports.phase import WINDOW, to_phase
from pipeline.reports.records import COLUMN, AttemptRecord, ReadingRow
from pipeline.scoring.tolerances import Kind, Tolerance, Tolerances
from pipeline.store import Store
from pipeline.vocabulary import Verdict


@dataclass(frozen=True)
class Best:
    """The reading nearest to its target, and its attempt's key window (s)."""

    reading: ReadingRow
    window: WINDOW
    curve: Curve | None = None


def best_readings(attempts: Sequence[AttemptRecord], tolerances: Tolerances) -> dict[COLUMN, Best]:
    """For each detail and side the reading nearest to its target; the later of two that are equally near.

    Readings without a value, without a tolerance or that could not be told are none. `attempts` are in time order.
    """
    found: dict[COLUMN, tuple[float, Best]] = {}
    for attempt in attempts:
        for reading in attempt.readings:
            tolerance = tolerances.get((reading.skill, reading.detail))
            if tolerance is None or not math.isfinite(reading.value) or reading.verdict == Verdict.CANNOT_TELL:
                continue
            apart = from_target(reading.value, tolerance)
            if reading.column not in found or apart <= found[reading.column][0]:
                found[reading.column] = apart, Best(reading, (attempt.row.key_start_s, attempt.row.key_end_s))
    return {column: best for column, (_apart, best) in found.items()}


def from_target(value: float, tolerance: Tolerance) -> float:
    """How far a value is from its target, on the sides that count."""
    apart = value - tolerance.target
    if tolerance.kind is Kind.AT_MOST:
        return max(apart, 0.0)
    return max(-apart, 0.0) if tolerance.kind is Kind.AT_LEAST else abs(apart)


def with_curves(store: Store, best: dict[COLUMN, Best]) -> dict[COLUMN, Best]:
    """The same with their curves, where they were kept; each attempt's are read once."""
    links = {one.reading.link for one in best.values()}
    curves = {(link, c.detail, str(c.side)): c for link in links for c in store.curves(link)}
    return {k: replace(b, curve=curves.get((b.reading.link, b.reading.detail, b.reading.side))) for k, b in best.items()}


def aligned(best: Best, window: WINDOW) -> Curve | None:
    """The best reading's curve, laid by phase on an attempt with this key window; None where no curve was kept."""
    return replace(best.curve, t=to_phase(best.curve.t, best.window, window)) if best.curve is not None else None
