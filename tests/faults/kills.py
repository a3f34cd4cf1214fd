"""Kill a night at random instants, let it go on, and compare its outcome with that of an undisturbed one."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import psutil

from tests.batch.nights import contents

TIMEOUT_S = 600


@dataclass
class Killed:
    """What came of it."""

    kills: int = 0
    orphans: int = 0  # workers that lived on
    broken: int = 0  # times the store was not whole right after a kill
    half: int = 0  # half files found after a kill under a final name
    equal: bool = False
    pages: int = 0  # files that an undisturbed night writes: pages, tables, landmarks, pictures
    pages_equal: bool = False  # all of them the same to the byte
    notes: list[str] = field(default_factory=list)


def run_night(folder: Path, out: Path) -> subprocess.Popen:
    environment = {**os.environ, "PYTHONPATH": os.getcwd()}
    return subprocess.Popen([sys.executable, "-m", "tests.faults.night", str(folder), str(out)], env=environment, stdout=subprocess.DEVNULL)


def kill_at_random(folder: Path, out: Path, undisturbed: Path, *, kills: int, seed: int, longest_s: float) -> Killed:
    """Kill -9 at instants drawn up to `longest_s` after each start, then finish; compare store and tables with `undisturbed`."""
    rng = np.random.default_rng(seed)
    got = Killed()
    while got.kills < kills:
        parent = run_night(folder, out)
        try:
            parent.wait(timeout=float(rng.uniform(0.05, longest_s)))
            got.notes.append(f"finished before kill {got.kills + 1}")
            for stamp in (out / "data").glob("pages.drawn"):  # let there be something left to kill
                stamp.unlink()
            _undo_some(out, rng)
            continue
        except subprocess.TimeoutExpired:
            pass
        workers = psutil.Process(parent.pid).children(recursive=True)
        os.kill(parent.pid, signal.SIGKILL)
        parent.wait()
        got.kills += 1
        _, alive = psutil.wait_procs(workers, timeout=20)
        got.orphans += len(alive)
        got.broken += not _whole(out)
        got.half += _half_files(out)
    last = run_night(folder, out)
    assert last.wait(timeout=TIMEOUT_S) == 0
    got.equal = contents(out) == contents(undisturbed)
    mine, theirs = written(out), written(undisturbed)
    got.pages, got.pages_equal = len(theirs), mine == theirs
    got.notes += [f"{name} differs" for name in sorted(mine.keys() | theirs.keys()) if mine.get(name) != theirs.get(name)]
    return got


def written(out: Path) -> dict[str, bytes]:
    """Every page, table, picture and landmark file of a night by its name; not logs, locks and what is remembered of files' times."""
    files = [p for p in out.rglob("*") if p.is_file() and not p.name.startswith(".")]
    names = {p.relative_to(out).as_posix(): p for p in files}
    return {n: p.read_bytes() for n, p in names.items() if n.count("/") != 1 or not n.startswith("data/") or n == "data/routines.toml"}


def _undo_some(out: Path, rng: np.random.Generator) -> None:
    """Forget a third of the results, so that the next run has work."""
    database = sqlite3.connect(out / "data" / "matside.sqlite")
    database.execute("PRAGMA foreign_keys = ON")
    clips = [row[0] for row in database.execute("SELECT clip FROM clips ORDER BY clip")]
    for clip in rng.choice(clips, max(1, len(clips) // 3), replace=False):
        database.execute("DELETE FROM clips WHERE clip = ?", (str(clip),))
    database.commit()
    database.close()


def _whole(out: Path) -> bool:
    """The store opens, is whole, and holds no attempt without its readings."""
    path = out / "data" / "matside.sqlite"
    if not path.exists():
        return True
    database = sqlite3.connect(path)
    try:
        if database.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            return False
        tables = {row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not {"clips", "attempts", "readings"} <= tables:
            return not tables & {"readings"}  # killed while the store was being made
        lone = database.execute("SELECT count(*) FROM attempts WHERE id NOT IN (SELECT attempt FROM readings)").fetchone()[0]
        missing = database.execute(
            "SELECT count(*) FROM clips WHERE status = 'measured' AND clip NOT IN (SELECT clip FROM attempts)"
        ).fetchone()[0]
        return lone == missing == 0
    finally:
        database.close()


def _half_files(out: Path) -> int:
    """Landmark and picture files under their final name that are not complete (each has a known length here), and pages without an end."""
    lengths = {"landmarks": 3200, "pictures": 6400}
    half = sum(path.stat().st_size != length for folder, length in lengths.items() for path in (out / "data" / folder).glob("[!.]*"))
    return half + sum(not path.read_bytes().rstrip().endswith(b"</html>") for path in out.rglob("[!.]*.html"))


def wait_until(true, seconds: float = 30.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.05)
    return False
