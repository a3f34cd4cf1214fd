"""Draw benchmark clips with their true joints (needs the extra `render`):

    python -m pipeline.bench render --out FOLDER [--part tune|report] [--count 64] [--first 0] [--workers 1]

Writes FOLDER/<part>/clips/*.mp4, truth/<stem>.csv, truth.csv and a roster. What is there already is left as it is.
"""

from __future__ import annotations

import argparse
import csv
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from pipeline.bench.scenes import PARTS, scene


def draw(part: str, index: int, out: Path) -> str:
    """Draw one scene, or leave it if its rows are there; returns its name."""
    from pipeline.stage.scene import TRUTH_COLUMNS, produce

    one = scene(part, index)
    folder = out / part
    rows_file = folder / "rows" / f"{one.name}.csv"
    if rows_file.exists():
        return one.name
    for name in ("clips", "truth", "rows"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    clip = folder / "clips" / f"{one.name}.mp4"
    rows = produce(one, clip.with_suffix(".part.mp4"), folder / "truth" / f"{one.name}.csv")
    clip.with_suffix(".part.mp4").replace(clip)
    part_file = rows_file.with_suffix(".part")
    with part_file.open("w", newline="") as file:
        table = csv.DictWriter(file, TRUTH_COLUMNS, lineterminator="\n")
        table.writeheader()
        table.writerows({**row, "clip": clip.name} for row in rows)
    part_file.replace(rows_file)
    return one.name


def gather(folder: Path) -> None:
    """Write truth.csv and a roster from what has been drawn."""
    rows: list[dict[str, str]] = []
    for file in sorted((folder / "rows").glob("*.csv")):
        with file.open(newline="") as lines:
            rows += csv.DictReader(lines)
    if not rows:
        return
    with (folder / "truth.csv").open("w", newline="") as out:
        table = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        table.writeheader()
        table.writerows(rows)
    athletes = sorted({row["clip"].split("_")[0] for row in rows})
    (folder / "clips" / "roster.csv").write_text(
        "athlete,cohort,lead_side,consent_until\n" + "".join(f"{a},Benchmark,,2099-12-31\n" for a in athletes)
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--part", choices=PARTS, help="only this part; else both, in turn")
    parser.add_argument("--count", type=int, default=64, help="clips a part")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    told = parser.parse_args()
    parts = (told.part,) if told.part else PARTS
    jobs = [(part, i, told.out) for i in range(told.first, told.first + told.count) for part in parts]
    with ProcessPoolExecutor(told.workers) as pool:
        for done, name in enumerate(pool.map(draw, *zip(*jobs, strict=True)), 1):
            print(f"{done}/{len(jobs)} {name}", flush=True)
    for part in parts:
        gather(told.out / part)
    return 0
