"""The part of the store that is the coach's own: notes, verdicts by eye, pins, the latest roster, and who may not be shown.
A run never replaces any of it, but for the roster."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager

import pandas as pd

HIDING = ("clips", "attempts", "eye")  # the tables that views lie over while somebody is hidden


class CoachTables:
    """What `Store` builds on; it opens the database."""

    _db: sqlite3.Connection
    _hidden: tuple[str, ...] = ()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._db:
            self._db.execute("BEGIN IMMEDIATE")
            yield self._db

    def add_note(self, about: str, date: str, kind: str, text: str) -> None:
        """Keep a coach's note on an athlete or a cohort; the same note twice is one."""
        with self._transaction() as db:
            db.execute("INSERT OR IGNORE INTO notes (about, date, kind, text) VALUES (?,?,?,?)", (about, date, kind, text))

    def remove_note(self, number: int) -> bool:
        """Forget a note by its id; whether there was one."""
        with self._transaction() as db:
            return db.execute("DELETE FROM notes WHERE id = ?", (number,)).rowcount > 0

    def notes(self, about: str | None = None) -> pd.DataFrame:
        """Notes in time order: id, about, date, kind, text."""
        where, args = ("WHERE about = ?", (about,)) if about else ("", ())
        return pd.read_sql_query(f"SELECT * FROM notes {where} ORDER BY date, id", self._db, params=args)

    def add_eye(self, said: Iterable[tuple[str, str, str, str, str]]) -> None:
        """Keep the coach's own verdicts, all of them or none: (link, detail, side, verdict, ISO time). Earlier ones stay."""
        with self._transaction() as db:
            db.executemany(
                "INSERT INTO eye SELECT NULL, c.content, a.link, c.athlete, a.skill, a.start_s, a.end_s, ?, ?, ?, ? "
                "FROM attempts a JOIN clips c USING (clip) WHERE a.link = ?",
                [(detail, side, verdict, when, link) for link, detail, side, verdict, when in said],
            )

    def eye(self, athlete: str | None = None) -> pd.DataFrame:
        """The coach's own verdicts in the order she gave them, on all clips or on those that are an athlete's now: id, then the clip's
        content hash, the attempt as it was then (link, athlete, skill, start_s, end_s), detail, side, verdict, said (ISO time)."""
        where, args = ("WHERE content IN (SELECT content FROM clips WHERE athlete = ?)", (athlete,)) if athlete is not None else ("", ())
        return pd.read_sql_query(f"SELECT * FROM eye {where} ORDER BY id", self._db, params=args)

    def contents(self, athlete: str | None = None) -> dict[str, str]:
        """The content hash of each attempt's clip, of all or of one athlete's, by the attempt's link."""
        where, args = ("WHERE c.athlete = ?", (athlete,)) if athlete is not None else ("", ())
        rows = self._db.execute(f"SELECT a.link, c.content FROM attempts a JOIN clips c USING (clip) {where}", args)
        return {row[0]: row[1] for row in rows}

    def pin(self, athlete: str, skill: str, detail: str, side: str, until: str) -> None:
        """Keep what the coach wants an athlete to work on in a skill, until an ISO date or, where empty, until it is taken off."""
        with self._transaction() as db:
            db.execute("INSERT OR REPLACE INTO pins VALUES (?,?,?,?,?)", (athlete, skill, detail, side, until))

    def unpin(self, athlete: str, skill: str = "") -> int:
        """Take off an athlete's pins, in one skill or in all; how many there were."""
        with self._transaction() as db:
            return db.execute("DELETE FROM pins WHERE athlete = ? AND ? IN (skill, '')", (athlete, skill)).rowcount

    def pins(self) -> pd.DataFrame:
        """The coach's pins: athlete, skill, detail, side, until."""
        return pd.read_sql_query("SELECT * FROM pins ORDER BY athlete, skill", self._db)

    def set_roster(self, rows: Sequence[tuple[str, str, str, str]]) -> None:
        """Keep who trains where, as the latest roster says: athlete, cohort, lead_side, consent_until (ISO). Replaces what was kept."""
        if sorted(rows) != [tuple(row) for row in self.roster().itertuples(index=False)]:
            with self._transaction() as db:
                db.execute("DELETE FROM roster")
                db.executemany("INSERT INTO roster VALUES (?,?,?,?)", rows)

    def lapsed(self, today: str) -> dict[str, str]:
        """Athletes of whom something was measured and whose consent, by the latest roster, ran out before an ISO day: {code: last day}.
        Who is on no roster is not among them: a roster may list one group only."""
        rows = self._db.execute(
            "SELECT DISTINCT c.athlete, r.consent_until FROM main.clips c JOIN roster r ON upper(r.athlete) = upper(c.athlete) "
            "WHERE r.consent_until < ? AND c.clip IN (SELECT clip FROM main.attempts) ORDER BY 1",
            (today,),
        )
        return {row[0]: row[1] for row in rows}

    def hide(self, athletes: Iterable[str]) -> None:
        """From now on, and through this object only, read as if nothing had been measured of these athletes and the coach had said
        nothing of them; of nobody where empty. For what only reads: while somebody is hidden, clips cannot be written."""
        for name in HIDING:
            self._db.execute(f"DROP VIEW IF EXISTS temp.{name}")
        self._hidden = tuple(athletes)
        if not self._hidden:
            return
        codes = ",".join("'" + code.replace("'", "''") + "'" for code in self._hidden)
        of_them = f"(SELECT a.clip FROM main.attempts a JOIN main.clips c USING (clip) WHERE c.athlete IN ({codes}))"
        for name, kept in (
            ("clips", f"clip NOT IN {of_them}"),
            ("attempts", f"clip NOT IN {of_them}"),
            ("eye", f"athlete NOT IN ({codes})"),
        ):
            self._db.execute(f"CREATE TEMP VIEW {name} AS SELECT * FROM main.{name} WHERE {kept}")  # read in place of the table

    @contextmanager
    def without(self, athletes: Iterable[str]) -> Iterator[None]:
        """Athletes hidden for a while; see `hide`."""
        before = self._hidden
        self.hide(athletes)
        try:
            yield
        finally:
            self.hide(before)

    def roster(self) -> pd.DataFrame:
        """The latest roster: athlete, cohort, lead_side, consent_until."""
        return pd.read_sql_query("SELECT * FROM roster ORDER BY athlete, cohort, lead_side, consent_until", self._db)
