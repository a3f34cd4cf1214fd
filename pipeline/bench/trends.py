"""The simulation table: coverage of intervals, false alarms and power of trends and cohorts on invented clubs.

    python -m pipeline.bench trends --clubs 200

Every line is a club or a season whose truth is known. `holds` is the share of 95 % intervals that hold the truth.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from pipeline.bench.trend_trials import (
    THREE,
    Rates,
    athlete_trial,
    change_trial,
    cohort_trial,
    drill_trial,
    drop_trial,
    hips,
    share_trial,
    weekly_looks_trial,
)  # fmt: skip
from pipeline.scoring.tolerances import load_tolerances
from pipeline.trends.athlete import athlete_trends
from pipeline.trends.precision import learn
from pipeline.trends.sessions import sessions
from pipeline.trends.simulate import Plan, simulate
from pipeline.trends.slope import MONTH
from pipeline.trends.words import sentence

SMALL = {"Otters": 6}


def _line(name: str, rates: Rates, since: float) -> None:
    cells = "   ".join(f"{what} {100 * share:5.1f} % of {count}" for what, (share, count) in rates.items())
    print(f"{name:50s} {cells}   [{time.perf_counter() - since:.0f} s]", flush=True)


def _athletes(clubs: int, seed: int) -> None:
    print("\nOne athlete: slope, change and session intervals that hold the truth; changes said")
    plans = {
        "24 athletes, 12 weeks, nothing changes": (Plan(THREE, hips()), False),
        "  athletes differ in steadiness": (Plan(THREE, hips(steadiness=0.35)), False),
        "  one attempt a session": (Plan(THREE, hips(), extra_attempts=0.0), False),
        "  6 weeks of 10 missed": (Plan(THREE, hips(), attends=0.4), False),
        "  own error large, shared by a day's attempts": (Plan(THREE, hips(own=4.0, own_shared=1.0, attempts=1.0, days=0.5)), False),
        "  26 weeks": (Plan(THREE, hips(), weeks=26), False),
        "  3 weeks": (Plan(THREE, hips(), weeks=3, attends=1.0), False),
        "  5 weeks": (Plan(THREE, hips(), weeks=5), False),
        "6 athletes, 5 weeks": (Plan(SMALL, hips(), weeks=5), False),
        "  differing in steadiness": (Plan(SMALL, hips(steadiness=0.35), weeks=5), False),
        "an athlete without a club, 12 weeks": (Plan(THREE, hips()), True),
        "24 athletes, 12 weeks, 2 degrees a month": (Plan(THREE, hips(per_month=2.0)), False),
        "  4 degrees a month": (Plan(THREE, hips(per_month=4.0)), False),
        "  6 degrees a month": (Plan(THREE, hips(per_month=6.0)), False),
    }
    for number, (name, (plan, lone)) in enumerate(plans.items()):
        since = time.perf_counter()
        small = sum(plan.cohorts.values()) < 10
        _line(name, athlete_trial(plan, clubs * (3 if small else 1), np.random.default_rng([seed, number]), lone=lone), since)
    _weekly(clubs, seed)
    for drop in (0.0, -4.0):
        since = time.perf_counter()
        plan = Plan(THREE, hips(routine_drop=drop), routine_share=0.35)
        _line(f"routine drop of {-drop:g} degrees", drop_trial(plan, clubs, np.random.default_rng([seed, 60])), since)


def _weekly(clubs: int, seed: int) -> None:
    since = time.perf_counter()
    rates = weekly_looks_trial(Plan(THREE, hips()), max(clubs // 5, 2), np.random.default_rng([seed, 50]))
    _line("nothing changes, read every week for 12 weeks", rates, since)


def _cohorts(clubs: int, seed: int) -> None:
    print("\nCohorts: difference and effect intervals that hold the truth; differences said on a page (Holm)")
    uneven = {"Otters": 5, "Herons": 9, "Curlews": 6}
    plans = {
        "3 x 8 athletes, no difference": Plan(THREE, hips()),
        "5, 9 and 6 athletes, no difference": Plan(uneven, hips()),
        "  few weeks attended, uneven attempts": Plan(uneven, hips(days=4.0), attends=0.3, extra_attempts=4.0),
        "  Otters 12 degrees higher": Plan(uneven, hips(cohort_level={"Otters": 12.0})),
        "3 x 8 athletes, Otters 12 degrees higher": Plan(THREE, hips(cohort_level={"Otters": 12.0})),
        "3 x 8 athletes, two moved": Plan(THREE, hips(), moves=((0, 6, "Herons"), (9, 6, "Curlews"))),
    }
    for number, (name, plan) in enumerate(plans.items()):
        since = time.perf_counter()
        _line(name, cohort_trial(plan, 4 * clubs, np.random.default_rng([seed, 100 + number])), since)
        if number < 3:  # slow: a mixed model by attempts for every pair
            since = time.perf_counter()
            _line("  roads not taken", cohort_trial(plan, clubs, np.random.default_rng([seed, 110 + number]), others=True), since)
    since = time.perf_counter()
    plan = Plan(THREE, hips(per_month=2.0, trends=2.0))
    _line("change over the term, 2 degrees a month", change_trial(plan, clubs, np.random.default_rng([seed, 120])), since)
    for number, (athletes, share, alike) in enumerate(((8, 0.5, 2.0), (8, 0.2, 2.0), (5, 0.5, 4.0), (12, 0.8, 6.0), (8, 0.5, 50.0))):
        since = time.perf_counter()
        rates = share_trial(clubs * 20, athletes, np.random.default_rng([seed, 130 + number]), share=share, alike=alike)
        _line(f"share met {share:g}, {athletes} athletes, Beta a + b = {alike:g}", rates, since)
    for step in (0.0, 6.0):
        since = time.perf_counter()
        plan = Plan(THREE, hips(steps={"Otters": (6, step)} if step else {}))
        rates = drill_trial(plan, 4 * clubs, np.random.default_rng([seed, 150]), cohort="Otters", week=6)
        _line(f"a drill worth {step:g} degrees", rates, since)


def _sentences(seed: int) -> None:
    print("\nTen athletes' sentences against what was built in: hips in the shoulder stand, degrees a month, over twelve weeks")
    rng = np.random.default_rng([seed, 200])
    club = simulate(Plan(THREE, hips(per_month=1.0, trends=4.0)), rng)
    precision, tolerance = learn(sessions(club.readings)), load_tolerances()["shoulder_stand", "hip_angle"]
    truth = club.truth.set_index("athlete")["per_month"]
    for athlete in sorted(rng.choice(truth.index, 10, replace=False)):
        (trend,) = athlete_trends(club.readings, athlete, precision)
        print(f"{athlete}  {truth[athlete]:+5.1f} a month, {truth[athlete] * 77 / MONTH:+4.0f} in all   {sentence(trend, tolerance)}")


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clubs", type=int, default=200, help="simulated clubs a line (default 200, about 15 minutes)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=("athletes", "weekly", "cohorts", "sentences"))
    options = parser.parse_args()
    if options.only in (None, "athletes"):
        _athletes(options.clubs, options.seed)
    if options.only == "weekly":  # one line of the athletes', whose figure stands on their pages
        _weekly(options.clubs, options.seed)
    if options.only in (None, "cohorts"):
        _cohorts(options.clubs, options.seed)
    if options.only in (None, "sentences"):
        _sentences(options.seed)
    return 0
