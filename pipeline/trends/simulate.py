"""Invented clubs whose truth is known: levels, trends, scatter, missing weeks, uneven attempts, readings with own error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
import pandas as pd

from pipeline.trends.sessions import Z95
from pipeline.trends.slope import MONTH
from pipeline.vocabulary import DETAIL, READING_COLUMNS, Setting, Side, Skill


@dataclass(frozen=True)
class DetailTruth:
    """How one detail behaves over a club. All in its unit; standard deviations unless said otherwise."""

    skill: Skill
    detail: str
    level: float  # the club's mean at the start, done alone
    athletes: float = 8.0  # between athletes' levels
    per_month: float = 0.0  # mean trend
    trends: float = 0.0  # between athletes' trends, per month
    days: float = 1.5  # of a day about the athlete's line
    attempts: float = 2.5  # of an attempt about its day
    own: float = 1.5  # of a reading about what was done: what its interval states
    own_shared: float = 0.5  # share of own variance that a day's attempts have in common (where the phone stood)
    steadiness: float = 0.0  # athletes' scatter differs: standard deviation of its logarithm
    routine_drop: float = 0.0  # added in a routine
    cohort_level: Mapping[str, float] = field(default_factory=dict)  # added for a cohort
    cohort_per_month: Mapping[str, float] = field(default_factory=dict)
    steps: Mapping[str, tuple[int, float]] = field(default_factory=dict)  # cohort -> (week, what is added from then on): a drill
    lowest: float = -np.inf  # a time or a height cannot be less; an angle stays within its detail's limits
    empty: float = 0.03  # share of readings without a value


@dataclass(frozen=True)
class Plan:
    """A club and a season."""

    cohorts: Mapping[str, int]  # name -> athletes
    details: Sequence[DetailTruth]
    weeks: int = 12
    start: date = date(2026, 9, 7)
    attends: float = 0.85  # share of weeks an athlete is filmed
    extra_attempts: float = 2.0  # Poisson mean of attempts beyond the first
    routine_share: float = 0.0  # of attempts
    moves: Sequence[tuple[int, int, str]] = ()  # (athlete number from 0, week, new cohort)
    away: Sequence[tuple[int, int, int]] = ()  # (athlete number from 0, first week, weeks): an injury, a holiday


@dataclass(frozen=True)
class Club:
    """`readings` has READING_COLUMNS, then link, at_s, lead_side as the store gives them; `truth` one row a line:
    athlete, cohort (at the start), skill, detail, side, level (alone, at `start`), per_month, routine_drop."""

    readings: pd.DataFrame
    truth: pd.DataFrame
    start: date


def codes(cohorts: Mapping[str, int]) -> tuple[list[str], list[str]]:
    """Athlete codes and their cohorts: the cohort's first and last consonant-ish letters, then a number (OT-01)."""
    prefix = {name: name[:2].upper() for name in cohorts}
    return (
        [f"{prefix[name]}-{k + 1:02d}" for name, count in cohorts.items() for k in range(count)],
        [name for name, count in cohorts.items() for _ in range(count)],
    )


def simulate(plan: Plan, rng: np.random.Generator) -> Club:
    """Draw one season. Every random number comes from `rng`."""
    athletes, cohorts = codes(plan.cohorts)
    count = len(athletes)
    attended = rng.random((count, plan.weeks)) < plan.attends
    for who, first, weeks in plan.away:
        attended[who, first : first + weeks] = False
    cohort_at = np.array([[cohorts[a]] * plan.weeks for a in range(count)], dtype=object)
    for who, moved, new in plan.moves:
        cohort_at[who, moved:] = new
    lead = np.where(np.arange(count) % 5 == 4, Side.LEFT.value, Side.RIGHT.value)
    athlete, week = np.nonzero(attended)
    day = 7 * week + (athlete % 3)  # cohorts train on different days
    next_number: np.ndarray = np.ones(len(athlete), dtype=np.int64)
    tables, truths = [], []
    for skill in dict.fromkeys(d.skill for d in plan.details):
        many = np.asarray(rng.poisson(plan.extra_attempts, len(athlete))) + 1
        row = np.repeat(np.arange(len(athlete)), many)
        number = np.arange(len(row)) - np.repeat(np.cumsum(many) - many, many) + next_number[row]
        next_number = next_number + many
        routine = rng.random(len(row)) < plan.routine_share
        base = pd.DataFrame({
            "athlete": np.array(athletes, object)[athlete[row]], "cohort": cohort_at[athlete[row], week[row]],
            "date": np.array([(plan.start + timedelta(days=int(d))).isoformat() for d in range(7 * plan.weeks + 7)], object)[day[row]],
            "skill": skill.value, "setting": np.where(routine, Setting.ROUTINE.value, Setting.ALONE.value),
            "attempt": 1, "start_s": 0.5, "end_s": 4.0, "lead_side": lead[athlete[row]], "at_s": 2.0,
        })  # fmt: skip
        base["clip"] = base["athlete"] + "_" + base["date"] + "_" + pd.Series(number).astype(str) + ".mp4"
        base["link"] = base["clip"].str[:-4]
        for d in (d for d in plan.details if d.skill == skill):
            sides = (Side.LEFT, Side.RIGHT) if DETAIL[(skill, d.detail)].sided else (Side.NONE,)
            levels = d.level + d.athletes * rng.standard_normal(count) + np.array([d.cohort_level.get(c, 0.0) for c in cohorts])
            for side in sides:
                table, truth = _draw(plan, d, base, athlete[row], week[row], day[row], row, len(athlete), routine, levels, cohorts, rng)
                tables.append(table.assign(side=side.value))
                truths.append(truth.assign(athlete=athletes, cohort=cohorts, skill=skill.value, detail=d.detail, side=side.value))
    readings = pd.concat(tables, ignore_index=True).sort_values(["date", "clip", "detail", "side"], kind="stable", ignore_index=True)
    return Club(readings[[*READING_COLUMNS, "link", "at_s", "lead_side"]], pd.concat(truths, ignore_index=True), plan.start)


def _draw(plan: Plan, d: DetailTruth, base: pd.DataFrame, athlete: np.ndarray, week: np.ndarray, day: np.ndarray, session: np.ndarray,
          sessions: int, routine: np.ndarray, levels: np.ndarray, cohorts: list[str], rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """One detail on one side: the readings of every attempt, and the truth of every athlete."""
    count, k = len(levels), len(base)
    level = levels + 0.2 * d.athletes * rng.standard_normal(count)  # sides differ a little
    trend = d.per_month + d.trends * rng.standard_normal(count) + np.array([d.cohort_per_month.get(c, 0.0) for c in cohorts])
    steady = np.exp(d.steadiness * rng.standard_normal(count))
    step = np.zeros(k)
    for name, (since, added) in d.steps.items():
        step += np.where((base["cohort"] == name) & (week >= since), added, 0.0)
    own = d.own * np.exp(0.15 * rng.standard_normal(k))
    shared = rng.standard_normal(sessions)[session]
    error = own * (np.sqrt(d.own_shared) * shared + np.sqrt(1 - d.own_shared) * rng.standard_normal(k))
    done = level[athlete] + trend[athlete] * day / MONTH + step + d.routine_drop * routine
    done = done + steady[athlete] * (d.days * rng.standard_normal(sessions)[session] + d.attempts * rng.standard_normal(k))
    known = DETAIL[(d.skill, d.detail)]
    lowest, highest = max(d.lowest, known.limits[0]), known.limits[1]
    value = np.clip(np.clip(done, lowest, highest) + error, lowest, highest)
    gone = rng.random(k) < d.empty
    value[gone] = np.nan
    table = base.assign(
        detail=d.detail, value=value, low=np.maximum(value - Z95 * own, lowest), high=np.minimum(value + Z95 * own, highest), unit=known.unit,
        usable_share=np.round(np.where(gone, 0.2, rng.uniform(0.8, 1.0, k)), 2), verdict="",
        reason=np.where(gone, "The athlete was hidden in most of the frames: film with nobody in front.", ""),
    )  # fmt: skip
    return table, pd.DataFrame({"level": level, "per_month": trend, "routine_drop": d.routine_drop})
