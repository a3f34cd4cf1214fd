"""Trials on invented clubs: how often intervals hold the truth, how often a change or a difference is said falsely or rightly."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy import stats

from pipeline.trends.athlete import change_since_start
from pipeline.trends.cohorts import athlete_levels, compare
from pipeline.trends.drills import drill_effects
from pipeline.trends.pooled import difference, group_mean, hedges_g
from pipeline.trends.precision import learn
from pipeline.trends.sessions import sessions
from pipeline.trends.setting_drop import LINE, learn_drop_scatter, pair_settings, setting_drop
from pipeline.trends.shares import athletes_share
from pipeline.trends.simulate import DetailTruth, Plan, simulate
from pipeline.trends.slope import MONTH, slope
from pipeline.vocabulary import Skill

THREE = {"Otters": 8, "Herons": 8, "Curlews": 8}


def hips(**truth: object) -> list[DetailTruth]:
    """One detail to try things on: hips in the shoulder stand, about 165 degrees, athletes 8 apart, attempts 2.5, days 1.5,
    own error 1.5 half of it shared by a day; `truth` changes any of it."""
    return [replace(DetailTruth(Skill.SHOULDER_STAND, "hip_angle", 165.0), **truth)]  # type: ignore[arg-type]


Rates = dict[str, tuple[float, int]]


def _rates(tally: dict[str, list[bool]]) -> Rates:
    return {name: (float(np.mean(hits)), len(hits)) for name, hits in tally.items() if hits}


def athlete_trial(plan: Plan, clubs: int, rng: np.random.Generator, *, lone: bool = False) -> Rates:
    """Share and count, over every series of `clubs` clubs, of: `slope`, `change`, `session` intervals that hold the truth,
    `said` changes, and `right` (said changes that go the true way). `lone` judges each athlete without a club."""
    tally: dict[str, list[bool]] = defaultdict(list)
    for _ in range(clubs):
        club = simulate(plan, rng)
        table = sessions(club.readings)
        parts = [p for _, p in table.groupby("athlete", observed=True)] if lone else [table]
        truth = club.truth.set_index("athlete")
        zero = np.datetime64(club.start).astype("datetime64[D]").astype(int)
        for judged in (learn(p).judge(p) for p in parts):
            for (athlete, _), one in judged.groupby(["athlete", "setting"], observed=True):
                _one_series(one, float(truth.per_month[athlete]), float(truth.level[athlete]), zero, tally)
    return _rates(tally)


def _one_series(one: pd.DataFrame, per_month: float, level: float, zero: int, tally: dict[str, list[bool]]) -> None:
    day, y, variance = (one[c].to_numpy(float) for c in ("day", "median", "variance"))
    df = float(one["df"].iloc[0])
    line = slope(day, y, variance, df)
    change = change_since_start(one, line)
    if np.isfinite(line.low):
        tally["slope"].append(line.low <= per_month <= line.high)
    if np.isfinite(change.mdc):
        true = per_month / MONTH * (day[len(day) - change.now_sessions :].mean() - day[: change.start_sessions].mean())
        tally["change"].append(change.low <= true <= change.high)
    tally["said"].append(change.real)
    if change.real and per_month:
        tally["right"].append(np.sign(change.change) == np.sign(per_month))
    if np.isfinite(variance).all():
        half = stats.t.ppf(0.975, df) * np.sqrt(variance)
        tally["session"].extend(np.abs(y - level - per_month * (day - zero) / MONTH) <= half)


def weekly_looks_trial(plan: Plan, clubs: int, rng: np.random.Generator) -> Rates:
    """`any`: share of series in which some weekly look says a change, for a coach who reads the page every week."""
    tally: dict[str, list[bool]] = defaultdict(list)
    for _ in range(clubs):
        table = sessions(simulate(plan, rng).readings)
        said: dict[str, bool] = defaultdict(bool)
        for last in np.arange(table["day"].min() + 21, table["day"].max() + 7, 7):
            judged = learn(seen := table[table["day"] <= last]).judge(seen)
            for athlete, one in judged.groupby("athlete", observed=True):
                line = slope(one["day"].to_numpy(), one["median"].to_numpy(), one["variance"].to_numpy(), float(one["df"].iloc[0]))
                said[str(athlete)] |= change_since_start(one, line).real
        tally["any"].extend(said.values())
    return _rates(tally)


def drop_trial(plan: Plan, clubs: int, rng: np.random.Generator) -> Rates:
    """`drop`: intervals of the drop from alone to routine that hold the truth; `said`: those without nought in them."""
    tally: dict[str, list[bool]] = defaultdict(list)
    for _ in range(clubs):
        club = simulate(plan, rng)
        pairs = pair_settings(sessions(club.readings))
        priors = learn_drop_scatter(pairs)
        true = float(club.truth["routine_drop"].iloc[0])
        for name, one in pairs.groupby(LINE, sort=False):
            drop = setting_drop(one["drop"].to_numpy(), priors[(name[1], name[2])])
            if np.isfinite(drop.low):
                tally["drop"].append(drop.low <= true <= drop.high)
                tally["said"].append(not drop.low <= 0 <= drop.high)
    return _rates(tally)


def cohort_trial(plan: Plan, clubs: int, rng: np.random.Generator, *, others: bool = False) -> Rates:
    """Over every pair of cohorts of `clubs` clubs: `difference` and `effect` intervals that hold the truth, `one` (a difference
    said before Holm), `page` (any false or true difference said on the page). With `others`, the roads not taken too:
    `mixed` (statsmodels MixedLM by attempts, normal quantiles) and `bootstrap` (percentiles, resampling athletes)."""
    tally: dict[str, list[bool]] = defaultdict(list)
    (detail,) = plan.details
    for _ in range(clubs):
        club = simulate(plan, rng)
        result = compare(club.readings, enough=3)
        tally["page"].append(bool(result.differences["sure"].any()))
        for row in result.differences.itertuples():
            true = detail.cohort_level.get(row.cohort, 0.0) - detail.cohort_level.get(row.other, 0.0)
            tally["difference"].append(row.low <= true <= row.high)
            tally["one"].append(row.p < 0.05)
            dots = result.dots[result.dots["cohort"].isin([row.cohort, row.other])]
            noise = float(dots["variance"].mean())
            effect = true / np.sqrt(1.04 * detail.athletes**2 + noise)  # a side adds a fifth of the spread to each athlete
            tally["effect"].append(row.effect_low <= effect <= row.effect_high)
            if others:
                for name, (low, high) in _other_roads(club.readings, row.cohort, row.other, dots, rng).items():
                    tally[name].append(low <= true <= high)
    return _rates(tally)


def _other_roads(readings: pd.DataFrame, a: str, b: str, dots: pd.DataFrame, rng: np.random.Generator) -> dict[str, tuple[float, float]]:
    import warnings

    import statsmodels.formula.api as smf

    rows = readings[readings["cohort"].isin([a, b]) & readings["value"].notna()]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = smf.mixedlm("value ~ x", rows.assign(x=(rows["cohort"] == a).astype(float)), groups=rows["athlete"]).fit(reml=True)
    middle, se = float(fit.params["x"]), float(fit.bse["x"])
    levels = [dots.loc[dots["cohort"] == c, "level"].to_numpy() for c in (a, b)]
    draws = [level[rng.integers(0, len(level), (1000, len(level)))].mean(axis=1) for level in levels]
    low, high = np.percentile(draws[0] - draws[1], [2.5, 97.5])
    return {"mixed": (middle - 1.96 * se, middle + 1.96 * se), "bootstrap": (float(low), float(high))}


def change_trial(plan: Plan, clubs: int, rng: np.random.Generator) -> Rates:
    """`change`: intervals of a cohort's mean change over the term that hold the truth (trends straight and known)."""
    tally: dict[str, list[bool]] = defaultdict(list)
    (detail,) = plan.details
    for _ in range(clubs):
        club = simulate(plan, rng)
        table = sessions(club.readings)
        result = compare(club.readings, enough=3)
        span = _mean_span(learn(table).judge(table))
        for row in result.means.itertuples():
            if np.isfinite(row.change_low):
                true = (detail.per_month + detail.cohort_per_month.get(row.cohort, 0.0)) / MONTH * span[row.cohort]
                tally["change"].append(row.change_low <= true <= row.change_high)
    return _rates(tally)


def _mean_span(judged: pd.DataFrame) -> dict[str, float]:
    moved = judged.assign(median=judged["day"])  # the change of the days themselves
    return athlete_levels(moved).groupby("cohort")["change"].mean().to_dict()


def share_trial(cohorts: int, athletes: int, rng: np.random.Generator, *, share: float, alike: float) -> Rates:
    """`share`: intervals of a share met that hold the truth; athletes' own shares are Beta with mean `share` and
    `alike` = a + b (small: athletes all or nothing), attempts 3 + Poisson 12."""
    hits = []
    for _ in range(cohorts):
        tries = 3 + rng.poisson(12, athletes)
        own = rng.beta(share * alike, (1 - share) * alike, athletes)
        found = athletes_share(rng.binomial(tries, own), tries)
        hits.append(found.low <= share <= found.high)
    return _rates({"share": hits})


def drill_trial(plan: Plan, clubs: int, rng: np.random.Generator, *, cohort: str, week: int) -> Rates:
    """`more`: intervals of a drill's extra change that hold the truth; `said`: effects said."""
    tally: dict[str, list[bool]] = defaultdict(list)
    (detail,) = plan.details
    true = detail.steps.get(cohort, (week, 0.0))[1]
    for _ in range(clubs):
        club = simulate(plan, rng)
        table = sessions(club.readings)
        day = (pd.Timestamp(club.start) + pd.Timedelta(days=7 * week)).date().isoformat()
        starts = pd.DataFrame({"drill": ["drill"], "cohort": [cohort], "date": [day]})
        for effect in drill_effects(learn(table).judge(table), starts):
            if np.isfinite(effect.low):
                tally["more"].append(effect.low <= true <= effect.high)
                tally["said"].append(effect.sure)
    return _rates(tally)


def level_trial(sizes: tuple[int, int], pairs: int, rng: np.random.Generator, *, between: tuple[float, float], own: float) -> Rates:
    """`difference` and `effect` intervals of two cohorts drawn straight as athletes' levels that hold the truth (0), and `one`
    said falsely. `between` is each cohort's standard deviation of athletes, `own` the mean of their levels' own."""
    tally: dict[str, list[bool]] = defaultdict(list)
    for number in range(pairs):
        variance = [own**2 * rng.gamma(2.0, 0.5, n) for n in sizes]  # some seen often, some seldom
        levels = [
            s * rng.standard_normal(n) + np.sqrt(v) * rng.standard_normal(n) for n, s, v in zip(sizes, between, variance, strict=True)
        ]
        value, se, df, p = difference(*(group_mean(y, v) for y, v in zip(levels, variance, strict=True)))
        tally["difference"].append(abs(value) <= stats.t.ppf(0.975, df) * se)
        tally["one"].append(p < 0.05)
        if number % 3 == 0:  # the noncentral t is slow
            _, low, high = hedges_g(*levels)
            tally["effect"].append(low <= 0 <= high)
    return _rates(tally)
