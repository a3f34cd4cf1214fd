"""readings.csv and clips.csv: the promised columns, numbers in full, text that no spreadsheet runs as a formula."""

from __future__ import annotations

import csv
import io
import numbers

import numpy as np
import pandas as pd

from pipeline.files import FORMULA_STARTS
from pipeline.vocabulary import CLIP_COLUMNS, READING_COLUMNS


def cell(value: object) -> str:
    """One cell: numbers in their shortest exact form, missing ones empty, text that could start a formula behind an apostrophe."""
    if value is None or (isinstance(value, float | np.floating) and not np.isfinite(value)):
        return ""
    if isinstance(value, numbers.Integral):
        return str(int(value))
    if isinstance(value, numbers.Real):
        exact = float(value)
        return str(int(exact)) if exact.is_integer() and abs(exact) < 2**53 else repr(exact)
    text = str(value).replace("\x00", "").replace("\r\n", "\n").replace("\r", "\n")
    return f"'{text}" if text.startswith((*FORMULA_STARTS, "\n")) else text


def csv_text(table: pd.DataFrame, columns: tuple[str, ...]) -> str:
    """The table as CSV (RFC 4180, but lines end with a newline alone)."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([cell(value) for value in row] for row in table[list(columns)].itertuples(index=False, name=None))
    return out.getvalue()


def readings_csv(scored: pd.DataFrame) -> str:
    """readings.csv from scored readings; times and shares rounded to what they can carry, values untouched."""
    table = scored.copy()
    table[["start_s", "end_s"]] = table[["start_s", "end_s"]].astype(float).round(3)
    table["usable_share"] = table["usable_share"].astype(float).round(3)
    return csv_text(table, READING_COLUMNS)


def clips_csv(clips: pd.DataFrame) -> str:
    """clips.csv from the store's clips."""
    table = clips.copy()
    table["seconds_of_work"] = table["seconds_of_work"].astype(float).round(2)
    return csv_text(table, CLIP_COLUMNS)
