"""Alone against routine, read beside true: `python -m pipeline.bench routine reports/demo` after `matside demo`.

For every athlete and detail of a folder of results whose clips have a truth table: what was truly lost in the routine, what the table
on the pages says, and whether its 95 % range holds the truth. Also whether each routine's skills were found as they were shown.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.reports.routine_view import read_pairs
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store
from pipeline.trends.routine_loss import Loss, athlete_losses, paired_losses
from pipeline.trends.sessions import sessions
from pipeline.vocabulary import Setting

TRUTH = Path(__file__).resolve().parents[2] / "sample_data" / "truth.csv"


@dataclass(frozen=True)
class Checked:
    """One detail of one athlete, read and true."""

    athlete: str
    read: Loss
    true: float

    @property
    def holds(self) -> bool:
        """Whether the range of what was read holds what was true."""
        return bool(self.read.low <= self.true <= self.read.high)


def true_readings(store: Store, truth: pd.DataFrame) -> pd.DataFrame:
    """The store's readings with a value, each with the true value in its place: the truth's row of the same clip, skill, detail and
    side whose attempt overlaps most. Readings without one are left out."""
    readings = store.readings()
    readings = readings[readings["value"].notna()]
    rows = readings.assign(name=[Path(clip).name for clip in readings["clip"]], row=np.arange(len(readings)))
    both = rows.merge(
        truth, left_on=["name", "skill", "detail", "side"], right_on=["clip", "skill", "detail", "side"], suffixes=("", "_true")
    )
    both["shared"] = np.minimum(both["end_s"], both["end_s_true"]) - np.maximum(both["start_s"], both["start_s_true"])
    best = both[both["shared"] > 0].sort_values("shared").drop_duplicates("row", keep="last")
    shift = best["value_true"] - best["value"]
    return best.assign(value=best["value_true"], low=best["low"] + shift, high=best["high"] + shift)[readings.columns]


def check(store: Store, truth: pd.DataFrame) -> Iterator[Checked]:
    """Every detail that both the pages' table and the truth have, athlete by athlete."""
    tolerances = load_tolerances()
    records = read_pairs(store, tolerances)
    if records is None:
        return
    true_pairs = paired_losses(sessions(true_readings(store, truth)), tolerances)
    for athlete in sorted(set(records.pairs["athlete"])):
        true = {one.column: one.loss for one in athlete_losses(true_pairs, athlete)}
        for one in records.athlete(athlete):
            if one.column in true:
                yield Checked(athlete, one, true[one.column])


def shown(store: Store, truth: pd.DataFrame) -> Iterator[tuple[str, list[str], list[str]]]:
    """Each clip with several skills: its name, the skills that were found in a routine, those that were shown."""
    attempts = store.attempts()
    for clip, part in truth.groupby("clip"):
        order = part.drop_duplicates("attempt").sort_values("start_s")["skill"].tolist()
        if len(order) > 1 and len(set(order)) > 1:
            found = attempts[(attempts["clip"].map(lambda c: Path(c).name) == clip) & (attempts["setting"] == Setting.ROUTINE)]
            yield str(clip), found.sort_values("start_s")["skill"].tolist(), order


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("results", type=Path, help="the folder given to matside as --out")
    parser.add_argument("--truth", type=Path, default=TRUTH)
    asked = parser.parse_args()
    truth = pd.read_csv(asked.truth, keep_default_na=False)
    truth["value"] = pd.to_numeric(truth["value"], errors="coerce")
    truth = truth[truth["value"].notna()]
    with Store(asked.results / "data" / "matside.sqlite") as store:
        for clip, found, order in shown(store, truth):
            print(f"{clip}: {'found as shown' if found == order else f'found {found}, shown {order}'}")
        checked = list(check(store, truth))
    for one in checked:
        r = one.read
        side = f" {r.side}" if r.side else ""
        print(
            f"{one.athlete} {r.skill} {r.detail}{side}: lost {r.loss:.2f} ({r.low:.2f} to {r.high:.2f}), truly {one.true:.2f}"
            f"{'' if one.holds else '  NOT HELD'}"
        )
    if checked:
        print(f"{sum(one.holds for one in checked)} of {len(checked)} ranges hold the truth.")
    else:
        print("Nothing was filmed both alone and in a routine.")
    return 0
