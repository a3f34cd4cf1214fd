"""Student's t by the special functions themselves: thousands of quantiles a page, without a statistics library's checks."""

from __future__ import annotations

import numpy as np
from scipy import special


def t_quantile(df: float, p: float = 0.975) -> float:
    """The p-quantile on df degrees of freedom; NaN for df not above 0."""
    return float(special.stdtrit(df, p)) if df > 0 else float("nan")


def two_sided_p(t: float, df: float) -> float:
    """The chance of a t further from 0 than this one."""
    return float(2 * special.stdtr(df, -abs(t)))


def noncentral_t_cdf(t: float, df: float, centre: float) -> float:
    """The chance of less than t on df degrees of freedom about `centre`; NaN far out, where the series does not settle."""
    return float(special.nctdtr(df, centre, t)) if np.isfinite(t) else float("nan")
