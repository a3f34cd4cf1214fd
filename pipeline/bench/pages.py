"""How heavy the pages are and how soon one can use them.

    python -m pipeline.bench pages reports/demo --attempts 200 --athletes 50 100 300

Takes the attempts of measured results (the demo's, say) with their pictures and moving pictures and gives them to as many invented
athletes as asked for, all in one week; writes the site; prints its size, the time it took to write, and the time Chromium takes
until the front page can be used (load and every script done), the middle of five. Pictures are linked, not copied.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import cycle, islice
from pathlib import Path

from pipeline.measures.reading import Reading
from pipeline.reports.files import slug
from pipeline.reports.motion import FOLDER
from pipeline.reports.site import write_site
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import AttemptResult, ClipResult, Store
from pipeline.vocabulary import Side

COHORTS = ("Otters", "Herons", "Curlews", "Plovers", "Terns")
DAY, MB = "2026-03-16", 1e6


def taken(source: Path) -> list[AttemptResult]:
    """Every attempt of an output folder's results."""
    out = []
    with Store(source / "data" / "matside.sqlite") as store:
        rows = store.readings()
        for row in store.attempts().itertuples(index=False):
            readings = [
                Reading(r.detail, Side(r.side), r.value, r.low, r.high, r.unit, r.usable_share, r.reason, r.at_s)
                for r in rows[rows["link"] == row.link].itertuples(index=False)
            ]
            out.append(AttemptResult(store.attempt_of(row), row.link, readings, store.curves(row.link), store.pictures(row.link)))
    return out


def invented(some: list[AttemptResult], source: Path, out: Path, athletes: int, attempts: int) -> Iterator[ClipResult]:
    """A clip an attempt, over the athletes in turn; their files linked below `out` under the new names."""
    (out / "data" / FOLDER).mkdir(parents=True, exist_ok=True)
    for i, one in enumerate(islice(cycle(some), attempts)):
        code, content = f"A-{i % athletes + 1:03d}", f"{i:08x}"
        link = f"{code}_{DAY}_{content}_1"
        for file in (source / "data" / FOLDER).glob(f"{slug(one.link)}[._]*"):
            _link(file, out / "data" / FOLDER / file.name.replace(slug(one.link), slug(link)))
        pictures = [replace(p, file=p.file.replace(slug(one.link), slug(link))) for p in one.pictures]
        yield ClipResult(
            f"{code}_{i}.mp4", content, code, COHORTS[i % athletes % len(COHORTS)], DAY, "measured",
            attempts=[replace(one, attempt=replace(one.attempt, number=1), link=link, pictures=pictures)],
        )  # fmt: skip


def _link(file: Path, to: Path) -> None:
    try:
        os.link(file, to)
    except OSError:  # another disk
        shutil.copyfile(file, to)


def usable_s(page: Path, times: int = 5) -> float | None:
    """Seconds from opening a page until all of it is there and its scripts have run, in a fresh Chromium tab; None without a browser."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return None
    browser_file = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if browser_file is None:
        return None
    with sync_playwright() as running:
        browser = running.chromium.launch(executable_path=browser_file, args=["--no-sandbox", "--disable-gpu"])
        took = []
        for _ in range(times):
            tab = browser.new_page()
            tab.goto(page.resolve().as_uri(), wait_until="load")
            took.append(float(tab.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd")) / 1000)
            tab.close()
        browser.close()
    return statistics.median(took)


def measure(some: list[AttemptResult], source: Path, athletes: int, attempts: int) -> str:
    """One line for one size of club."""
    with tempfile.TemporaryDirectory(dir=source) as folder:  # on the same disk, so that files can be linked
        out = Path(folder)
        with Store(out / "data" / "matside.sqlite") as store:
            store.put_all(invented(some, source, out, athletes, attempts))
            start, cpu = time.perf_counter(), time.process_time()
            index = write_site(store, load_tolerances(), out, out / "data")
            wall, work = time.perf_counter() - start, time.process_time() - cpu
        files = list((out / "data" / FOLDER).iterdir())
        pictures, moving = (sum(f.stat().st_size for f in files if f.suffix in kinds) for kinds in ((".jpg",), (".mp4", ".json")))
        pages = sorted((p.stat().st_size for p in (out / "athletes").glob("*.html")), reverse=True)
        front, sheet = index.stat().st_size, sum(p.stat().st_size for p in out.rglob("*.html"))
        soon, hers = usable_s(index), usable_s(max((out / "athletes").glob("*.html"), key=lambda p: p.stat().st_size))
    shown = [f"{one:.2f} s" if one is not None else "no browser" for one in (soon, hers)]
    total = sheet + pictures + moving
    return (
        f"{athletes} athletes, {attempts} attempts: index {front / MB:.2f} MB, usable after {shown[0]}; largest athlete's page "
        f"{pages[0] / MB:.2f} MB, after {shown[1]}; pages {sheet / MB:.0f} MB, pictures {pictures / MB:.0f} MB, moving {moving / MB:.0f} MB, "
        f"all {total / MB:.0f} MB ({total / attempts / 1000:.0f} kB an attempt); written in {wall:.1f} s ({work:.1f} s of work)"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("results", type=Path, help="an output folder with measured clips, such as reports/demo")
    parser.add_argument("--attempts", type=int, default=200, help="in the week, for the first size of club; the others in proportion")
    parser.add_argument("--athletes", type=int, nargs="+", default=[50])
    asked = parser.parse_args()
    some = taken(asked.results)
    for athletes in asked.athletes:
        print(measure(some, asked.results, athletes, asked.attempts * athletes // asked.athletes[0]), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
