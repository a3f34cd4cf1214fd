"""How long trend and cohort pages take on years of readings, and how much memory.

    python -m pipeline.bench trends-speed --seasons 5 --athletes 300

Fills a store with 40 readings a week for each athlete (50 weeks a season) unless --store names one that a former run kept,
then writes one athlete's page and the cohort page, each in a process of its own, as the commands do.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.measures.reading import Reading
from pipeline.store import AttemptResult, ClipResult, Store
from pipeline.vocabulary import DETAILS, Detail, Setting, Side, Skill

COHORTS = ("Otters", "Herons", "Curlews", "Plovers", "Terns", "Dunlins", "Avocets", "Knots", "Ruffs", "Stints")
WEEKS, A_WEEK = 50, 40
PAGE = """
import resource, sys, time
from pathlib import Path
start, cpu = time.perf_counter(), time.process_time()
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store
from pipeline.trends.filters import Filters
{load}
loaded = time.perf_counter()
with Store(Path(sys.argv[1])) as store:
    {call}
done = time.perf_counter()
print(f"{{done - start:.1f}} s ({{loaded - start:.1f}} s of them imports), "
      f"{{time.process_time() - cpu:.1f}} s of work, "
      f"{{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform != 'darwin' else 1024**2):.0f}} MB")
"""
PAGES = {
    "one athlete, the last 26 weeks": (
        "from pipeline.reports.trend_page import write_athlete",
        "write_athlete(store, load_tolerances(), Path(sys.argv[2]), 'A-001')",
    ),
    "one athlete, all seasons": (
        "from pipeline.reports.trend_page import write_athlete; from datetime import date",
        "write_athlete(store, load_tolerances(), Path(sys.argv[2]), 'A-001', filters=Filters(since=date(2000, 1, 1)))",
    ),
    "cohorts, the last term": (
        "from pipeline.reports.cohort_page import write_cohorts",
        "write_cohorts(store, load_tolerances(), Path(sys.argv[2]))",
    ),
    "cohorts, all seasons": (
        "from pipeline.reports.cohort_page import write_cohorts; from datetime import date",
        "write_cohorts(store, load_tolerances(), Path(sys.argv[2]), filters=Filters(since=date(2000, 1, 1)))",
    ),
}


def weekly_clips(athletes: int, seasons: int, rng: np.random.Generator) -> Iterator[list[ClipResult]]:
    """One list a week: a clip for each athlete with 40 readings, from the newest season backwards in time order."""
    by_skill = {skill: [d for d in DETAILS if d.skill is skill] for skill in Skill}
    first = date(2026, 11, 23) - timedelta(weeks=WEEKS * seasons)
    level = rng.normal(0, 6, (athletes, len(DETAILS)))
    for week in range(WEEKS * seasons):
        day = (first + timedelta(weeks=week)).isoformat()
        yield [_clip(f"A-{a + 1:03d}", COHORTS[a % len(COHORTS)], day, level[a], by_skill, rng) for a in range(athletes)]


def _clip(
    athlete: str, cohort: str, day: str, level: np.ndarray, by_skill: dict[Skill, list[Detail]], rng: np.random.Generator
) -> ClipResult:
    attempts, count, number = [], 0, 0
    wobble = rng.normal(0, 1.5, len(DETAILS))
    while count < A_WEEK:
        skill = list(Skill)[number % len(Skill)]
        number += 1
        found = []
        for d in by_skill[skill]:
            at = DETAILS.index(d)
            for side in (Side.LEFT, Side.RIGHT) if d.sided else (Side.NONE,):
                value = 160 + level[at] + wobble[at] + rng.normal(0, 2.5) if d.unit == "deg" else 8 + rng.normal(0, 2)
                found.append(Reading(d.id, side, value, value - 3, value + 3, d.unit, 0.9))
        found = found[: A_WEEK - count]
        count += len(found)
        setting = Setting.ROUTINE if number % 3 == 0 else Setting.ALONE
        attempt = Attempt(skill, number, 0.0, 2.0, 0.5, 1.5, 1, Side.RIGHT, setting, 1.0)
        attempts.append(AttemptResult(attempt, f"{athlete}_{day}_{number}", found))
    return ClipResult(f"{athlete}_{day}.mp4", f"{athlete}{day}", athlete, cohort, day, "measured", attempts=attempts)


def main() -> int:
    """Fill, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seasons", type=int, default=5)
    parser.add_argument("--athletes", type=int, default=300)
    parser.add_argument("--store", type=Path, help="keep the store here, or use the one that is here")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        path = options.store or Path(scratch) / "matside.sqlite"
        if not path.is_file():
            since = time.perf_counter()
            with Store(path) as store:
                for clips in weekly_clips(options.athletes, options.seasons, np.random.default_rng(1)):
                    store.put_all(clips)
            print(f"filled in {time.perf_counter() - since:.0f} s: {path.stat().st_size / 1e6:.0f} MB", flush=True)
        for name, (load, call) in PAGES.items():
            run = [sys.executable, "-c", PAGE.format(load=load, call=call), str(path), str(Path(scratch) / "out")]
            done = subprocess.run(run, capture_output=True, text=True, check=False)
            print(f"{name:32s} {done.stdout.strip() or done.stderr.strip().splitlines()[-1]}", flush=True)
    return 0
