"""One athlete over time: for each detail, side and setting the sessions, the trend, and whether a change is real."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.trends.precision import Precision, learn
from pipeline.trends.reliability import minimal_detectable_change
from pipeline.trends.sessions import SERIES, Z95, sessions
from pipeline.trends.slope import Slope, slope
from pipeline.trends.student import t_quantile

ENOUGH_SESSIONS = 4  # fewer never make a change; common practice, no source
FORTNIGHT = 14.0  # days: the start is the first fortnight, now the latest, where the two lie apart
GAP = 21.0  # days without a session that break the line
KNOWN_DF = 2.0  # degrees of freedom below which what is chance is only known where even Student's wide interval shows a change


@dataclass(frozen=True)
class Change:
    """Now against the start. All in the detail's unit; NaN where it cannot be told."""

    start: float  # level at the start
    now: float
    change: float
    low: float  # 95 % interval of the change
    high: float
    mdc: float  # what chance alone passes once in twenty
    start_date: str  # of the first session
    now_date: str  # of the latest
    start_sessions: int
    now_sessions: int
    real: bool  # more than the minimal detectable change, enough sessions, and all of them together point the same way
    start_half: float  # half of each level's 95 % interval
    now_half: float


@dataclass(frozen=True)
class Trend:
    """One detail of one athlete, on one side, in one setting."""

    athlete: str
    skill: str
    detail: str
    side: str
    setting: str
    unit: str
    attempts: pd.DataFrame  # the readings, with `day`, in time order; empty values stay, as gaps
    sessions: pd.DataFrame  # SESSION_COLUMNS, then variance, df, sem, low, high (95 % of the median), segment
    slope: Slope
    change: Change
    sem: float  # standard error of measurement of one attempt
    mdc: float  # between two single attempts: Weir 2005 with Student's quantile
    df: float  # how well the SEM is known

    @property
    def key(self) -> tuple[str, str, str, str]:
        return (self.skill, self.detail, self.side, self.setting)


def block_change(day: np.ndarray, y: np.ndarray, variance: np.ndarray) -> tuple[int, int, float, float, float, float]:
    """day, y, variance : (n,) sessions in time order, n at least 2.

    Returns how many sessions make the start, how many make now, both levels, now less start, and that change's variance.
    """
    n = len(day)
    apart = day[-1] - day[0] > 2 * FORTNIGHT
    first = int(np.searchsorted(day, day[0] + FORTNIGHT, side="left")) if apart else 1
    last = n - int(np.searchsorted(day, day[-1] - FORTNIGHT, side="right")) if apart else 1
    start, now = float(y[:first].mean()), float(y[n - last :].mean())
    return first, last, start, now, now - start, float(variance[:first].sum() / first**2 + variance[n - last :].sum() / last**2)


def change_since_start(table: pd.DataFrame, line: Slope) -> Change:
    """The change of one series, and whether it is real.

    table : judged sessions of one series, in time order, at least one; line : their trend.
    The pair compared is fixed beforehand (first and latest fortnight, or first and latest session where those would
    touch), never picked for being far apart, so that the minimal detectable change needs no allowance for many pairs. The
    trend through all sessions must point the same way too (its 80 % interval), which halves the harm of one odd day.
    """
    day, y, variance = (table[c].to_numpy(float) for c in ("day", "median", "variance"))
    n, df = len(day), float(table["df"].iloc[0])
    dates = (str(table["date"].iloc[0]), str(table["date"].iloc[-1]))
    quantile = t_quantile(df)
    if n < 2:
        half = quantile * float(np.sqrt(variance[0]))
        return Change(float(y[0]), float(y[0]), np.nan, np.nan, np.nan, np.nan, *dates, 1, 1, False, half, half)
    first, last, start, now, change, total = block_change(day, y, variance)
    mdc = quantile * float(np.sqrt(total))
    halves = (quantile * float(np.sqrt(part.sum())) / len(part) for part in (variance[:first], variance[n - last :]))
    real = bool(n >= ENOUGH_SESSIONS and np.isfinite(mdc) and abs(change) > mdc and line.points(change))
    return Change(start, now, change, change - mdc, change + mdc, mdc, *dates, first, last, real, *halves)


def judged(readings: pd.DataFrame, precision: Precision | None = None) -> pd.DataFrame:
    """Sessions of these readings, each with variance, df and sem; judged by themselves where no club is given."""
    table = sessions(readings)
    return (precision or learn(table)).judge(table)


def athlete_trends(readings: pd.DataFrame, athlete: str, precision: Precision | None = None) -> list[Trend]:
    """Every series of one athlete, in the order of skill, detail, side and setting.

    readings  : READING_COLUMNS; other athletes' rows are passed over. Verdicts are not looked at.
    precision : what the club says is chance; without it the athlete's own sessions must do, and little can be sure.
    """
    own = readings[readings["athlete"].astype(str) == athlete]
    table = judged(own, precision)
    own = own.sort_values(["date", "clip", "attempt"], kind="stable")
    days = pd.to_datetime(own["date"].astype(str), errors="coerce", format="ISO8601").astype("datetime64[s]")
    own = own.assign(day=days.astype("int64").where(days.notna(), np.nan) / 86400.0)
    rows = {tuple(map(str, key)): at for key, at in own.groupby(SERIES[1:], observed=True, sort=False).indices.items()}
    out = []
    for name, part in table.groupby(SERIES[1:], observed=True, sort=True):
        key = tuple(map(str, name))
        out.append(_trend(athlete, key, own.iloc[rows[key]], part.reset_index(drop=True)))
    return out


def _trend(athlete: str, key: tuple[str, ...], rows: pd.DataFrame, table: pd.DataFrame) -> Trend:
    df, sem = float(table["df"].iloc[0]), float(table["sem"].iloc[0])
    if df < KNOWN_DF and not change_since_start(table, _line(table)).real:
        table, sem = table.assign(variance=np.nan), float("nan")
    quantile, line = t_quantile(df), _line(table)
    half = quantile * np.sqrt(table["variance"])
    table = table.assign(low=table["median"] - half, high=table["median"] + half, segment=(table["day"].diff() > GAP).cumsum())
    skill, detail, side, setting = key
    return Trend(
        athlete, skill, detail, side, setting, unit=str(rows["unit"].iloc[0]), attempts=rows, sessions=table, slope=line,
        change=change_since_start(table, line), sem=sem, mdc=minimal_detectable_change(sem, quantile=quantile), df=df,
    )  # fmt: skip


def _line(table: pd.DataFrame) -> Slope:
    return slope(table["day"].to_numpy(), table["median"].to_numpy(), table["variance"].to_numpy(), float(table["df"].iloc[0]))


__all__ = ["ENOUGH_SESSIONS", "FORTNIGHT", "GAP", "Z95", "Change", "Trend", "athlete_trends", "change_since_start", "judged"]
