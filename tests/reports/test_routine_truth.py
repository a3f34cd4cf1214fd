"""The table of alone against routine on the sample clips' own truth: what was built into the joints comes out of the table."""

import csv
from collections import defaultdict
from pathlib import Path

import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.measures.reading import Reading
from pipeline.reports.language import translations
from pipeline.reports.routine_steps import routine_lines
from pipeline.reports.routine_view import read_pairs
from pipeline.scoring.tolerances import Kind, load_tolerances
from pipeline.store import AttemptResult, ClipResult, Store
from pipeline.trends.routine_loss import Basis
from pipeline.vocabulary import DETAIL, Setting, Side, Skill

SAMPLE = Path(__file__).resolve().parents[2] / "sample_data"
OWN = 2.0  # the half width given to each true value here, so that the table has something to judge by
CODES = ("HE-01", "OT-02")


def true_rows():
    """clip -> its rows of truth.csv, as far as a reading has that side."""
    clips = defaultdict(list)
    with (SAMPLE / "truth.csv").open() as file:
        for row in csv.DictReader(file):
            known = DETAIL.get((Skill(row["skill"]), row["detail"]))
            if known and row["value"] and bool(row["side"]) == known.sided:
                clips[row["clip"]].append(row)
    return clips


def as_measured(clip, rows):
    """A clip's truth as the store takes results, each value ± OWN."""
    athlete, day, _ = clip.rsplit(".", 1)[0].split("_")
    attempts = defaultdict(list)
    for row in rows:
        attempts[int(row["attempt"]), row["skill"], float(row["start_s"]), float(row["end_s"])].append(row)
    setting = Setting.ROUTINE if len({skill for _, skill, _, _ in attempts}) > 1 else Setting.ALONE
    made = []
    for (number, skill, start, end), of in sorted(attempts.items()):
        attempt = Attempt(Skill(skill), number, start, end, start, end, 1, Side.NONE, setting, 1.0)
        readings = [
            Reading(r["detail"], Side(r["side"]), float(r["value"]), float(r["value"]) - OWN, float(r["value"]) + OWN, r["unit"], 1.0)
            for r in of
        ]
        made.append(AttemptResult(attempt, f"{clip}_{number}", readings))
    return ClipResult(clip, clip, athlete, "Otters", day, "measured", attempts=made)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    clips = {clip: rows for clip, rows in true_rows().items() if clip.startswith(CODES)}
    assert len(clips) == 7
    with Store(tmp_path_factory.mktemp("truth") / "matside.sqlite") as store:
        store.put_all(as_measured(clip, rows) for clip, rows in clips.items())
        yield store


# Alone and in the routine, by hand from truth.csv (two decimals): (athlete, skill, detail, side) -> alone, routine, further from the target.
BY_HAND = {
    ("HE-01", "shoulder_stand", "hip_angle", ""): (177.75, 159.58, 18.17),
    ("HE-01", "cartwheel", "knee_angle", "left"): (174.29, 146.00, 28.29),
    ("HE-01", "lunge", "hip_angle", ""): (193.50, 182.86, -10.65),  # arched alone, so nearer to 180 in the routine
    ("OT-02", "backward_roll", "knee_clearance", ""): (48.25, 0.00, 48.25),
    ("OT-02", "lunge", "knee_angle", ""): (163.00, 171.00, -8.00),
}


@pytest.mark.parametrize("key", BY_HAND)
def test_losses_that_were_built_in(store, key):
    athlete, *column = key
    found = {one.column: one for one in read_pairs(store, load_tolerances()).athlete(athlete)}[tuple(column)]
    alone, routine, loss = BY_HAND[key]
    assert (found.alone, found.routine, found.loss) == pytest.approx((alone, routine, loss), abs=0.006)
    assert found.basis is Basis.THESE and found.high - found.loss == pytest.approx(OWN * 2**0.5, rel=1e-6)


def test_every_loss_in_the_table_is_the_truths(store):
    """All of them, worked out anew from truth.csv: routine against the median of the nearest day alone."""
    tolerances = load_tolerances()
    level = defaultdict(lambda: defaultdict(list))
    clips = true_rows()
    for clip, rows in clips.items():
        kind = "routine" if len({r["skill"] for r in rows}) > 1 else "alone"
        for r in rows:
            level[clip[:5], r["skill"], r["detail"], r["side"]][kind].append(float(r["value"]))
    checked = 0
    for athlete in CODES:
        for one in read_pairs(store, tolerances).athlete(athlete):
            both = level[(athlete, *one.column)]
            assert len(both["alone"]) == len(both["routine"]) == 1, "more than one day: work it out by hand"
            (alone,), (routine,), tolerance = both["alone"], both["routine"], tolerances[one.column[:2]]
            apart = {
                Kind.AT_LEAST: alone - routine, Kind.AT_MOST: routine - alone,
                Kind.BOTH: abs(routine - tolerance.target) - abs(alone - tolerance.target),
            }[tolerance.kind]  # fmt: skip
            assert one.loss == pytest.approx(apart, abs=1e-9) and one.low <= apart <= one.high
            checked += 1
    assert checked >= 15


def test_what_is_lost_beyond_doubt_comes_first_and_the_order_goes_by_shares(store):
    for athlete in CODES:
        found = read_pairs(store, load_tolerances()).athlete(athlete)
        beyond = [one.low > 0 for one in found]
        assert beyond == sorted(beyond, reverse=True) and 0 < sum(beyond) < len(beyond)
        for some in (found[: sum(beyond)], found[sum(beyond) :]):
            assert [one.share for one in some] == sorted((one.share for one in some), reverse=True)


def test_skills_shown_against_the_written_routines(store):
    first, second = sorted(routine_lines(translations(), store), key=lambda line: line.athlete)
    assert (first.title, first.said) == ("Saltmarsh first routine", "Shown as written.")
    assert (second.title, second.said) == ("Saltmarsh second routine", "Shown as written.")
