"""The minimal detectable change of a measurement whose standard error is known."""

from __future__ import annotations

import math

from pipeline.trends.sessions import Z95


def minimal_detectable_change(sem: float, *, quantile: float = Z95) -> float:
    """The smallest difference between two single measurements that chance alone passes once in twenty (Weir 2005).

    With an SEM known from few degrees of freedom, pass Student's quantile instead of 1.96.
    """
    return float(quantile * math.sqrt(2.0) * sem)
