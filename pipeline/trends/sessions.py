"""Readings -> sessions: one row for each athlete, detail, side, setting and day, with the median of that day's attempts."""

from __future__ import annotations

import numpy as np
import pandas as pd

KIND = ["skill", "detail", "setting"]  # readings of one kind share their precision
SERIES = ["athlete", "skill", "detail", "side", "setting"]  # one line on an athlete's page
SESSION_COLUMNS = [*SERIES, "cohort", "date", "day", "n", "median", "scatter", "own"]
Z95 = 1.959963984540054  # half width of a 95 % interval in standard deviations


def sessions(readings: pd.DataFrame) -> pd.DataFrame:
    """One row a session, ordered by series and day, with SESSION_COLUMNS.

    day     : float, days since 1970-01-01
    n       : attempts with a value
    median  : of those attempts, in the detail's unit
    scatter : sum of squares of the attempts about their mean, so that scatter / (n - 1) is their variance
    own     : mean variance that the readings' own 95 % intervals state, (half width / 1.96)²
    Empty values and readings without a date are left out: they are gaps, not measurements.
    """
    # Integer codes instead of strings keep three million rows quick and small.
    known = readings[readings["value"].notna() & (readings["date"] != "")]
    if known.empty:
        return pd.DataFrame({c: pd.Series(dtype=float if c in SESSION_COLUMNS[7:] else object) for c in SESSION_COLUMNS})
    keys = [*SERIES, "date"]
    frame = pd.DataFrame(
        {c: pd.Categorical(known[c].astype(str) if known[c].dtype == object else known[c], ordered=False) for c in [*keys, "cohort"]}
    )
    frame["value"] = known["value"].to_numpy(float)
    frame["square"] = frame["value"] ** 2
    frame["own"] = ((known["high"].to_numpy(float) - known["low"].to_numpy(float)) / (2 * Z95)) ** 2
    grouped = frame.groupby(keys, observed=True, sort=True)
    out = grouped.agg(
        cohort=("cohort", "first"),
        n=("value", "size"),
        median=("value", "median"),
        total=("value", "sum"),
        square=("square", "sum"),
        own=("own", "mean"),
    ).reset_index()
    out["scatter"] = (out["square"] - out["total"] ** 2 / out["n"]).clip(lower=0.0)
    # Differences of large squares leave rounding; what is below it is nothing.
    out.loc[out["scatter"] < 1e-9 * out["square"], "scatter"] = 0.0
    labels = out["date"].cat.categories
    days = np.asarray(pd.to_datetime(labels, format="ISO8601").astype("datetime64[s]").astype("int64")) / 86400.0
    out["day"] = days[out["date"].cat.codes]
    for column in [*keys, "cohort"]:
        out[column] = out[column].astype(str) if column in ("date", "cohort") else out[column]
    return out.sort_values([*SERIES, "day"], kind="stable", ignore_index=True)[SESSION_COLUMNS]


def series_number(table: pd.DataFrame, by: list[str] = SERIES) -> np.ndarray:
    """(n_rows,) int: which group of `by` a row is in, 0, 1, ... in order of first appearance."""
    return table.groupby(by, observed=True, sort=False).ngroup().to_numpy()
