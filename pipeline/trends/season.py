"""A demo season: three invented cohorts over twelve weeks, written through the real store and marked as invented."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import date
from itertools import groupby

import numpy as np
import pandas as pd

from pipeline.attempts.attempt import Attempt
from pipeline.measures.reading import Reading
from pipeline.store import INVENTED, AttemptResult, ClipResult, Store
from pipeline.trends.notes import NoteKind, add_note
from pipeline.trends.simulate import Club, DetailTruth, Plan, simulate
from pipeline.vocabulary import Setting, Side, Skill

WHY_INVENTED = "Invented readings: no child was filmed. They show what a season looks like."
SEED = 20260907
L, S, R, C = Skill.LUNGE, Skill.SHOULDER_STAND, Skill.BACKWARD_ROLL, Skill.CARTWHEEL


def demo_plan() -> Plan:
    """Otters take up a flat-hips drill in week 5 and Herons in week 9; Herons have straighter cartwheel legs, Curlews are
    newest; two children move up, three are away for some weeks. The figures are made up to look like a beginners' club."""
    return Plan(
        cohorts={"Otters": 8, "Herons": 8, "Curlews": 8},
        details=(
            DetailTruth(L, "line_deviation", 9.0, athletes=2.5, per_month=-0.5, trends=0.6, days=0.7, attempts=1.0, own=0.8, lowest=0.0, routine_drop=1.2),
            DetailTruth(L, "shoulder_angle", 158, athletes=8, per_month=1.0, trends=2.0, routine_drop=-4, own=2.0),
            DetailTruth(L, "hip_angle", 170, athletes=7, per_month=0.8, trends=1.5, routine_drop=-3, own=1.8),
            DetailTruth(L, "knee_angle", 168, athletes=5, per_month=0.5, trends=1.0, routine_drop=-3, own=1.8),
            DetailTruth(
                S, "hip_angle", 152, athletes=9, per_month=1.5, trends=2.0, days=2.0, attempts=3.0, own=1.8, routine_drop=-6, steadiness=0.25,
                cohort_level={"Curlews": -9.0}, steps={"Otters": (5, 11.0), "Herons": (9, 11.0)},
            ),
            DetailTruth(S, "leg_to_vertical", 17, athletes=5, per_month=-0.8, trends=1.2, lowest=0.0, routine_drop=2.5, own=1.5),
            DetailTruth(S, "toe_point", 138, athletes=9, per_month=0.5, trends=1.0, own=4.0, own_shared=0.8, empty=0.15),
            DetailTruth(R, "knee_clearance", 9, athletes=4.5, per_month=0.8, trends=0.8, days=1.2, attempts=2.0, own=2.2, lowest=0.0, routine_drop=-1.5),
            DetailTruth(
                R, "knee_contact_time", 0.10, athletes=0.12, per_month=-0.03, trends=0.02, days=0.03, attempts=0.05, own=0.025, lowest=0.0,
                routine_drop=0.04,
            ),
            DetailTruth(
                C, "knee_angle", 152, athletes=8, per_month=3.0, trends=2.5, days=2.5, attempts=4.0, own=3.0, routine_drop=-4,
                cohort_level={"Herons": 17.0, "Curlews": -4.0}, empty=0.08,
            ),
        ),
        routine_share=0.3,
        extra_attempts=1.6,
        moves=((7, 6, "Herons"), (20, 8, "Otters")),
        away=((2, 4, 4), (11, 7, 3), (17, 2, 5)),
    )  # fmt: skip


def demo_club(rng: np.random.Generator | None = None) -> Club:
    """The demo season's readings and truth, the same each time unless another `rng` is given."""
    return simulate(demo_plan(), rng or np.random.default_rng(SEED))


def clip_results(readings: pd.DataFrame) -> Iterator[ClipResult]:
    """Simulated readings as the store takes them, one clip an attempt, without curves or pictures."""
    ordered = readings.sort_values(["date", "clip"], kind="stable")
    for clip, group in groupby(ordered.itertuples(index=False), key=lambda r: r.clip):
        rows = list(group)
        one = rows[0]
        content = hashlib.sha256(clip.encode()).hexdigest()
        attempt = Attempt(
            Skill(one.skill), one.attempt, one.start_s, one.end_s, one.at_s - 0.5, one.at_s + 0.5, 1, Side(one.lead_side),
            Setting(one.setting), 1.0, told=True,
        )  # fmt: skip
        found = [Reading(r.detail, Side(r.side), r.value, r.low, r.high, r.unit, r.usable_share, r.reason, r.at_s) for r in rows]
        link = f"{one.athlete}_{one.date}_{content[:8]}_{one.attempt}"
        yield ClipResult(
            clip, content, one.athlete, one.cohort, one.date, "measured", frames=105, seconds_of_work=0.0, duration_s=4.5,
            made_with="simulator", attempts=[AttemptResult(attempt, link, found)],
        )  # fmt: skip


def write_season(store: Store) -> Club:
    """Put the demo season into an empty store and mark it; returns its truth."""
    club = demo_club()
    store.set_fact(INVENTED, WHY_INVENTED)
    store.put_all(clip_results(club.readings))
    add_note(store, "Otters", date(2026, 10, 12).isoformat(), "Wall slides for flat hips", kind=NoteKind.DRILL)
    add_note(store, "Herons", date(2026, 11, 9).isoformat(), "Wall slides for flat hips", kind=NoteKind.DRILL)
    add_note(store, "OT-03", date(2026, 10, 5).isoformat(), "Away with a sore wrist for four weeks", kind=NoteKind.BREAK)
    add_note(store, "HE-04", date(2026, 10, 26).isoformat(), "Away on holiday for three weeks", kind=NoteKind.BREAK)
    add_note(store, "OT-01", date(2026, 10, 19).isoformat(), "Grew 2 cm since the summer", kind=NoteKind.GROWTH)
    return club
