"""The coach's own CSV tables as spreadsheets really write them: BOM, semicolons, tabs, old encodings, blank lines."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.errors import MatsideError, shown
from pipeline.files import MOST_TABLE, plain_cell, written_bytes

SEPARATORS = ",;\t"


@dataclass(frozen=True)
class Table:
    """A CSV table; `rows` hold (row number as a spreadsheet shows it, {column: text})."""

    path: Path
    columns: tuple[str, ...]  # in the file's order, lower case
    separator: str
    encoding: str
    rows: list[tuple[int, dict[str, str]]] = field(default_factory=list)


def read_table(path: Path, *, needs: Sequence[str], also: Sequence[str] = ()) -> Table:
    """Read a table that must have the columns `needs` and may have those of `also`; which others it has does not matter.

    Raises MatsideError naming the file and what is missing, or which of these columns is there twice.
    """
    try:
        data = written_bytes(path, most=MOST_TABLE)
    except OSError as error:
        raise MatsideError(f"{path}: cannot be read ({error.strerror}).") from error
    text, encoding = decoded(data)
    first = text.lstrip("\r\n").split("\n", 1)[0]
    said = re.fullmatch(rf"sep=([{SEPARATORS}])", first.strip(" \r"))  # how some programs tell Excel
    separator = said[1] if said else max(SEPARATORS, key=first.count)
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as error:
        raise MatsideError(f"{path}: not a CSV table ({error}). Save it from the spreadsheet as CSV (UTF-8).") from error
    lines = [(number, cells) for number, cells in enumerate(records, 1) if any(cell.strip() for cell in cells)]
    if said:
        del lines[0]
    if not lines:
        raise MatsideError(f"{path}: the table is empty. Its first row should be: {', '.join(needs)}.")
    columns = tuple(cell.strip().lower().replace(" ", "_") for cell in lines[0][1])
    missing = [column for column in needs if column not in columns]
    if missing:
        raise MatsideError(
            f"{path}, row {lines[0][0]}: expected the columns {', '.join(needs)}; {', '.join(missing)} missing. It has: {listed(columns)}."
        )
    if twice := [column for column in (*needs, *also) if columns.count(column) > 1]:
        raise MatsideError(f"{path}, row {lines[0][0]}: the column {twice[0]} is there twice; expected it once. Take one of them out.")
    table = Table(path, columns, separator, encoding)
    for number, cells in lines[1:]:
        padded = [*cells, *[""] * (len(columns) - len(cells))]
        table.rows.append((number, {c: plain_cell(v.strip()) for c, v in zip(columns, padded, strict=False) if c}))
    return table


def decoded(data: bytes) -> tuple[str, str]:
    """A text file's text, as spreadsheets and editors write it, and the name of its encoding."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", "replace"), "utf-16-le" if data.startswith(b"\xff") else "utf-16-be"
    try:
        return data.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), "cp1252"


def listed(columns: Sequence[str]) -> str:
    """The columns as a table has them, where there is something to list."""
    some = [column if column.isprintable() and len(column) <= 40 else shown(column, 40) for column in columns[:12] if column]
    return ", ".join(some) + (", …" if len(columns) > 12 else "") if some else "none"
