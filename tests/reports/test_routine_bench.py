"""The benchmark of alone against routine finds what is built into it: a loss that is held, one that is not, a skill too few."""

from dataclasses import replace

import pandas as pd
import pytest

from pipeline.bench.routine import check, shown
from pipeline.measures.reading import Reading
from pipeline.store import Store
from pipeline.vocabulary import Side
from tests.reports.test_routine_truth import OWN, as_measured, true_rows


def moved(result, by):
    """The same clip read `by` too high in everything."""
    attempts = [
        replace(a, readings=[Reading(r.detail, Side(r.side), r.value + by, r.low + by, r.high + by, r.unit, 1.0) for r in a.readings])
        for a in result.attempts
    ]
    return replace(result, attempts=attempts)


@pytest.mark.parametrize(("by", "holds"), [(0.0, True), (OWN, True), (3 * OWN, False)])
def test_true_and_read(tmp_path, by, holds):
    """Readings alone are right, those of the routine are `by` too high; a range reaches √2 times OWN, about 2.8, to each side."""
    clips = {clip: rows for clip, rows in true_rows().items() if clip.startswith("HE-01")}
    truth = pd.DataFrame([row for rows in clips.values() for row in rows]).astype(
        {"value": float, "start_s": float, "end_s": float, "attempt": int}
    )
    with Store(tmp_path / "matside.sqlite") as store:
        for clip, rows in clips.items():
            result = as_measured(clip, rows)
            store.put(moved(result, by) if len(result.attempts) > 1 else result)
        checked = {one.read.column: one for one in check(store, truth)}
        lunge, stand = checked["lunge", "line_deviation", ""], checked["shoulder_stand", "leg_to_vertical", ""]
        for one in (lunge, stand):  # only one side of the target counts: the error goes into the loss as it is
            assert one.read.loss - one.true == pytest.approx(by) and one.holds is holds
        assert [(found == order, len(order)) for _clip, found, order in shown(store, truth)] == [(True, 4)]
