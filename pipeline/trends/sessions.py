"""Readings -> sessions: one row for each athlete, detail, side, setting and day, with the median of that day's attempts."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.trends.keys import row_keys, starts_of, word_codes

KIND = ["skill", "detail", "setting"]  # readings of one kind share their precision
SERIES = ["athlete", "skill", "detail", "side", "setting"]  # one line on an athlete's page
SESSION_COLUMNS = [*SERIES, "cohort", "date", "day", "n", "median", "scatter", "own", "below", "above"]
Z95 = 1.959963984540054  # half width of a 95 % interval in standard deviations


def sessions(readings: pd.DataFrame) -> pd.DataFrame:
    """One row a session, ordered by series and day, with SESSION_COLUMNS.

    day     : float, days since 1970-01-01
    n       : attempts with a value
    median  : of those attempts, in the detail's unit
    scatter : sum of squares of the attempts about their mean, so that scatter / (n - 1) is their variance
    own     : mean variance that the readings' own 95 % intervals state, (half width / 1.96)²
    below   : the same of what lies below each value, and `above`: of what lies above it
    Empty values and readings without a date are left out: they are gaps, not measurements.
    """
    known = (readings["value"].notna() & (readings["date"] != "")).to_numpy()
    if not known.any():
        return pd.DataFrame({c: pd.Series(dtype=float if c in SESSION_COLUMNS[7:] else object) for c in SESSION_COLUMNS})
    keys = row_keys(readings, [*SERIES, "date"])
    order = np.argsort(keys.number, kind="stable")
    order = order[known[order]]
    number, value = keys.number[order], readings["value"].to_numpy(float)[order]
    at = starts_of(number)
    n = np.diff(np.append(at, len(number)))
    several = np.flatnonzero(np.repeat(n > 2, n))  # from the smallest value to the largest; one or two need no order
    several_sorted = several[np.lexsort((value[several], number[several]))]
    order[several], value[several] = order[several_sorted], value[several_sorted]
    mean = np.add.reduceat(value, at) / n
    scatter = np.add.reduceat((value - np.repeat(mean, n)) ** 2, at)
    below = (readings["value"].to_numpy(float) - readings["low"].to_numpy(float))[order]
    above = (readings["high"].to_numpy(float) - readings["value"].to_numpy(float))[order]
    cohort, cohorts = word_codes(readings["cohort"])
    out = pd.DataFrame(keys.words(number[at]))
    out["cohort"] = pd.Categorical.from_codes(cohort[order][at], cohorts)
    out["day"] = (
        np.asarray(pd.to_datetime(keys.labels[-1], format="ISO8601").astype("datetime64[s]").astype("int64"))[out["date"].cat.codes]
        / 86400.0
    )
    out["n"] = n
    out["median"] = (value[at + (n - 1) // 2] + value[at + n // 2]) / 2
    out["scatter"] = np.where(scatter < 1e-12 * n * mean**2, 0.0, scatter)  # what is below rounding is nothing
    for name, wide in (("own", (below + above) / 2), ("below", below), ("above", above)):
        out[name] = np.add.reduceat((wide / Z95) ** 2, at) / n
    return out[SESSION_COLUMNS]


def series_number(table: pd.DataFrame) -> np.ndarray:
    """(n_rows,) int: the series a session belongs to, 0, 1, ...; `table` in the order that `sessions` gives."""
    if table.empty:
        return np.zeros(0, int)
    number = row_keys(table, SERIES).number
    return np.cumsum(np.concatenate([[0], number[1:] != number[:-1]])).astype(int)
