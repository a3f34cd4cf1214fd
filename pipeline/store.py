"""The results database (SQLite): clips, attempts, readings, curves and key pictures. Matside's verdicts are never stored:
they come from the tolerances of the day. A clip's results are replaced in one transaction or not at all. What the coach says
herself (notes, verdicts by eye) is never replaced by a run."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.erasing import Erasing
from pipeline.errors import MatsideError
from pipeline.lean_readings import LeanReadings
from pipeline.measures.reading import Curve, Reading
from pipeline.store_schema import READ_VERSIONS, SCHEMA, SCHEMA_VERSION
from pipeline.vocabulary import READING_COLUMNS, Setting, Side, Skill

INVENTED = "invented"  # the fact that every page shows: why these readings are not of real children


@dataclass(frozen=True)
class Picture:
    """The key frame of one reading, already blurred, as a file; the measured line's points in its pixels."""

    detail: str
    side: Side
    file: str  # relative to the data folder
    width: int
    height: int
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class AttemptResult:
    """All that was measured in one attempt."""

    attempt: Attempt
    link: str  # stays the same from run to run: page anchors and file names are made of it
    readings: Sequence[Reading] = ()
    curves: Sequence[Curve] = ()
    pictures: Sequence[Picture] = ()


@dataclass(frozen=True)
class ClipResult:
    """What became of one clip. `status` is one word for people; `reason` is empty only where all went well."""

    clip: str  # path relative to the clips folder, with forward slashes
    content: str  # hash of the file's bytes
    athlete: str
    cohort: str
    date: str  # ISO, or empty where it cannot be told
    status: str  # measured, nothing found, skipped, failed, needs you
    reason: str = ""
    frames: int | None = None
    seconds_of_work: float | None = None
    duration_s: float | None = None
    made_with: str = ""  # model and settings, so that a change measures again
    attempts: Sequence[AttemptResult] = field(default=())


@dataclass(frozen=True)
class Known:
    """What the store holds of a clip, short: enough to tell whether anything changed."""

    content: str
    athlete: str
    cohort: str
    date: str
    status: str
    reason: str
    made_with: str


def _number(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)


class Store(Erasing, LeanReadings):
    """The database in one file. Use as a context manager; every write is a transaction."""

    def __init__(self, path: Path) -> None:
        self.path = path
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            self._db = sqlite3.connect(path, timeout=60)
            self._db.row_factory = sqlite3.Row
            self._db.execute("PRAGMA foreign_keys = ON")
            self._db.execute("PRAGMA journal_mode = WAL")
            version = self._db.execute("PRAGMA user_version").fetchone()[0]
            if version not in READ_VERSIONS:
                raise MatsideError(
                    f"{path}: results of version {version}, but this Matside reads version {SCHEMA_VERSION}. "
                    "Use the Matside that wrote them, or move the file away to start anew."
                )
            self._db.executescript(SCHEMA)
            self._db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        except sqlite3.OperationalError as error:  # not for what is in it, but for the disk, its rights, or who holds it
            raise MatsideError(
                f"{path}: the results cannot be written to ({error}). Nothing is lost: see that the disk has room, that the file and those "
                f"beside it ({path.name}-wal, -shm) are writable and no other program holds them, and run again."
            ) from error
        except sqlite3.DatabaseError as error:
            raise MatsideError(
                f"{path}: cannot be used as the results database ({error}). Move it away to start anew; the clips are untouched."
            ) from error

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        self._db.close()

    def put(self, result: ClipResult) -> None:
        """Replace all that is known of one clip, or nothing if anything fails."""
        self.put_all([result])

    def put_all(self, results: Iterable[ClipResult]) -> None:
        """The same for many clips in one transaction: all of them or none."""
        with self._transaction() as db:
            for result in results:
                self._put_clip(db, result)

    def _put_clip(self, db: sqlite3.Connection, result: ClipResult) -> None:
        db.execute("DELETE FROM clips WHERE clip = ?", (result.clip,))
        db.execute(
            "INSERT INTO clips VALUES (?,?,?,?,?,?,?,?,?,?,?)",
            (result.clip, result.content, result.athlete, result.cohort, result.date, result.status, result.reason,
             result.frames, result.seconds_of_work, result.duration_s, result.made_with),
        )  # fmt: skip
        for one in result.attempts:
            self._put_attempt(db, result.clip, one)

    @staticmethod
    def _put_attempt(db: sqlite3.Connection, clip: str, one: AttemptResult) -> None:
        a = one.attempt
        row = db.execute(
            "INSERT INTO attempts VALUES (NULL,?,?,?,?,?,?,?,?,?,?,?,?,?)",
            (clip, one.link, a.number, a.skill, a.setting, a.start_s, a.end_s, a.key_start_s, a.key_end_s, a.direction,
             a.lead_side, a.certainty, a.told),
        )  # fmt: skip
        key = row.lastrowid
        db.executemany(
            "INSERT INTO readings VALUES (?,?,?,?,?,?,?,?,?,?,?)",
            [(key, r.detail, r.side, _number(r.value), _number(r.low), _number(r.high), r.unit, r.usable_share, r.reason,
              _number(r.at_s), json.dumps(r.line)) for r in one.readings],
        )  # fmt: skip
        db.executemany(
            "INSERT INTO curves VALUES (?,?,?,?,?)",
            [(key, c.detail, c.side, c.unit, np.stack([c.t, c.value, c.low, c.high]).astype("<f4").tobytes()) for c in one.curves],
        )
        db.executemany(
            "INSERT INTO pictures VALUES (?,?,?,?,?,?,?)",
            [(key, p.detail, p.side, p.file, p.width, p.height, json.dumps(p.points)) for p in one.pictures],
        )

    def remove(self, clip: str) -> None:
        """Forget one clip and all that was measured in it."""
        with self._transaction() as db:
            db.execute("DELETE FROM clips WHERE clip = ?", (clip,))

    def rename(self, old: str, new: str) -> None:
        """Call a clip by another name: the same bytes, moved or named anew. Replaces what was known under the new name."""
        with self._transaction() as db:
            db.execute("PRAGMA defer_foreign_keys = ON")
            db.execute("DELETE FROM clips WHERE clip = ?", (new,))
            db.execute("UPDATE clips SET clip = ? WHERE clip = ?", (new, old))
            db.execute("UPDATE attempts SET clip = ? WHERE clip = ?", (new, old))

    def picture_files(self, clips: Sequence[str]) -> list[str]:
        """The key pictures of these clips, relative to the data folder."""
        found: set[str] = set()
        for clip in clips:
            rows = self._db.execute("SELECT p.file FROM pictures p JOIN attempts a ON a.id = p.attempt WHERE a.clip = ?", (clip,))
            found.update(row["file"] for row in rows)
        return sorted(found)

    def known(self) -> dict[str, Known]:
        """Every clip by name."""
        rows = self._db.execute("SELECT clip, content, athlete, cohort, date, status, reason, made_with FROM clips")
        return {row["clip"]: Known(*tuple(row)[1:]) for row in rows}

    def clips(self) -> pd.DataFrame:
        """One row a clip, ordered by date, athlete and name."""
        return pd.read_sql_query("SELECT * FROM clips ORDER BY date, athlete, clip", self._db)

    def attempts(self, athlete: str | None = None) -> pd.DataFrame:
        """One row an attempt with its clip's athlete, cohort and date, in time order."""
        where, args = ("WHERE c.athlete = ?", (athlete,)) if athlete else ("", ())
        return pd.read_sql_query(
            f"SELECT c.athlete, c.cohort, c.date, a.* FROM attempts a JOIN clips c USING (clip) {where} ORDER BY c.date, c.clip, a.number",
            self._db, params=args,
        )  # fmt: skip

    def readings(self, athlete: str | None = None, *, since: str | None = None, until: str | None = None) -> pd.DataFrame:
        """One row a reading: the promised columns (verdict left empty for scoring to fill), then link, at_s, lead_side.
        `since` and `until` are ISO dates, both included; clips without a date then fall out."""
        asked = {"c.athlete = ?": athlete, "c.date >= ?": since, "c.date <= ?": until, "c.date <> ?": "" if since or until else None}
        where = " AND ".join(k for k, v in asked.items() if v is not None)
        where, args = f"WHERE {where}" if where else "", tuple(v for v in asked.values() if v is not None)
        table = pd.read_sql_query(
            f"""SELECT c.clip, c.athlete, c.cohort, c.date, a.skill, a.setting, a.number AS attempt, a.start_s, a.end_s,
            r.detail, r.side, r.value, r.low, r.high, r.unit, r.usable_share, '' AS verdict, r.reason, a.link, r.at_s, a.lead_side
            FROM readings r JOIN attempts a ON a.id = r.attempt JOIN clips c USING (clip) {where}
            ORDER BY c.date, c.clip, a.number, r.detail, r.side""",
            self._db, params=args, dtype={"value": float, "low": float, "high": float, "at_s": float},
        )  # fmt: skip
        assert tuple(table.columns[: len(READING_COLUMNS)]) == READING_COLUMNS
        return table

    def athletes(self) -> pd.DataFrame:
        """One row an athlete of whom attempts with a date are known: athlete, first, last (ISO dates), clips."""
        return pd.read_sql_query(
            "SELECT athlete, min(date) AS first, max(date) AS last, count(*) AS clips FROM clips "
            "WHERE date <> '' AND clip IN (SELECT clip FROM attempts) GROUP BY athlete ORDER BY athlete",
            self._db,
        )

    def cohorts(self) -> list[str]:
        """The cohorts that clips name, in order."""
        return [str(row[0]) for row in self._db.execute("SELECT DISTINCT cohort FROM clips WHERE cohort <> '' ORDER BY cohort")]

    def latest_date(self) -> str:
        """ISO date of the newest clip, or empty."""
        return str(self._db.execute("SELECT coalesce(max(date), '') FROM clips").fetchone()[0])

    def set_fact(self, name: str, value: str) -> None:
        """Keep a fact about these results as a whole, such as that they are invented."""
        with self._transaction() as db:
            db.execute("INSERT OR REPLACE INTO facts VALUES (?,?)", (name, value))

    def fact(self, name: str) -> str:
        """A fact kept by `set_fact`, or empty."""
        row = self._db.execute("SELECT value FROM facts WHERE name = ?", (name,)).fetchone()
        return str(row[0]) if row else ""

    def curves(self, link: str) -> list[Curve]:
        """The curves of one attempt, by its link."""
        rows = self._db.execute(
            "SELECT q.* FROM curves q JOIN attempts a ON a.id = q.attempt WHERE a.link = ? ORDER BY q.detail, q.side", (link,)
        )
        out = []
        for row in rows:
            t, value, low, high = np.frombuffer(row["samples"], "<f4").reshape(4, -1).astype(float)
            out.append(Curve(row["detail"], Side(row["side"]), row["unit"], t, value, low, high))
        return out

    def pictures(self, link: str) -> list[Picture]:
        """The key pictures of one attempt, by its link."""
        rows = self._db.execute(
            "SELECT p.* FROM pictures p JOIN attempts a ON a.id = p.attempt WHERE a.link = ? ORDER BY p.detail, p.side", (link,)
        )
        return [
            Picture(
                r["detail"],
                Side(r["side"]),
                r["file"],
                r["width"],
                r["height"],
                tuple((float(x), float(y)) for x, y in json.loads(r["points"])),
            )
            for r in rows
        ]

    def attempt_of(self, row: pd.Series) -> Attempt:
        """The Attempt of one row of `attempts()`."""
        return Attempt(
            Skill(row.skill), int(row.number), row.start_s, row.end_s, row.key_start_s, row.key_end_s, int(row.direction),
            Side(row.lead_side), Setting(row.setting), row.certainty, bool(row.told),
        )  # fmt: skip
