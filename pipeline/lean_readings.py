"""Readings of many athletes at once, small enough for millions: what trends and cohorts ask the store for."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Sequence
from itertools import count

import numpy as np
import pandas as pd

LEAN_COLUMNS = ("athlete", "cohort", "date", "skill", "setting", "detail", "side", "value", "low", "high", "lead_side")
LEAN_OF_ATTEMPT = ("c.athlete", "c.cohort", "c.date", "a.skill", "a.setting", "a.lead_side")


class LeanReadings:
    """The part of the store that gives them."""

    _db: sqlite3.Connection

    def lean_readings(
        self, *, athletes: Sequence[str] | None = None, since: str | None = None, until: str | None = None, skill: str | None = None,
        setting: str | None = None, lead_side: str | None = None, in_cohorts: bool = False,
    ) -> pd.DataFrame:  # fmt: skip
        """Readings of many athletes for trends and cohorts, in no order, words kept as categories so that millions fit:
        LEAN_COLUMNS. `since` and `until` are ISO dates, both included; clips without a date then fall out, and with
        `in_cohorts` those without a cohort."""
        asked = {"c.date >= ?": since, "c.date <= ?": until, "a.skill = ?": skill, "a.setting = ?": setting, "a.lead_side = ?": lead_side}
        where, args = [k for k, v in asked.items() if v is not None], [v for v in asked.values() if v is not None]
        if since or until:
            where.append("c.date <> ''")
        if in_cohorts:
            where.append("c.cohort <> ''")
        if athletes is not None:
            where.append(f"c.athlete IN ({','.join('?' * len(athletes))})")
            args.extend(athletes)
        chosen = "FROM clips c CROSS JOIN attempts a ON a.clip = c.clip"
        condition = f"WHERE {' AND '.join(where)}" if where else ""
        # The words of an attempt are fetched once, not with each of its readings.
        of_attempt = self._columns(f"SELECT a.id, {', '.join(LEAN_OF_ATTEMPT)} {chosen} {condition}", args, 1)
        # So are those of a reading where they can be: its detail and its side come as one word.
        *fetched, both = self._columns(
            "SELECT r.attempt, r.value, r.low, r.high, r.detail || ' ' || r.side "
            f"{chosen} CROSS JOIN readings r ON r.attempt = a.id {condition}",
            args,
            4,
        )
        ids, order = np.asarray(of_attempt[0], np.int64), np.argsort(of_attempt[0])
        row = order[np.searchsorted(ids[order], np.asarray(fetched[0], np.int64))] if len(ids) else np.zeros(0, int)
        out: dict[str, object] = {}
        for name, words in zip(LEAN_OF_ATTEMPT, of_attempt[1:], strict=True):
            out[name.split(".")[1]] = pd.Categorical.from_codes(words.codes[row], words.categories)
        pairs = [word.rsplit(" ", 1) for word in both.categories]
        for i, name in enumerate(("detail", "side")):
            codes, categories = pd.factorize(np.array([pair[i] for pair in pairs], dtype=object))
            out[name] = pd.Categorical.from_codes(codes[both.codes], categories)
        out.update(zip(("value", "low", "high"), fetched[1:], strict=True))
        return pd.DataFrame({name: out[name] for name in LEAN_COLUMNS})

    def _columns(self, query: str, args: Sequence[object], numbers: int) -> list:
        """A query's columns: the first `numbers` as float arrays, the rest as categories; fetched piece by piece."""
        cursor = self._db.cursor()
        cursor.row_factory = None
        cursor.execute(query, args)
        width = len(cursor.description)
        codes: list[defaultdict[str, int]] = [defaultdict(count().__next__) for _ in range(width)]  # a new word gets the next code
        parts: list[list[np.ndarray]] = [[] for _ in range(width)]
        while rows := cursor.fetchmany(300):  # few, so that Python does not go looking for garbage among them
            for i, column in enumerate(zip(*rows, strict=True)):
                if i < numbers:
                    parts[i].append(np.array(column, dtype=float))  # None becomes NaN
                else:
                    parts[i].append(np.fromiter(map(codes[i].__getitem__, column), np.int32, len(column)))
        joined = [np.concatenate(p) if p else np.zeros(0, float if i < numbers else np.int32) for i, p in enumerate(parts)]
        return [c if i < numbers else pd.Categorical.from_codes(c, list(codes[i])) for i, c in enumerate(joined)]
