"""Made-up readings for the practice room: every interval is written down by the test that needs it."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from pipeline.scoring.tolerances import Kind, Tolerance
from pipeline.vocabulary import READING_COLUMNS

FIRST = date(2026, 3, 2)
# Round numbers of the tests' own, so that no change of a shipped profile changes an expected answer.
TOLERANCES = {
    ("lunge", "hip_angle"): Tolerance(Kind.BOTH, 180, 15, 30),
    ("lunge", "knee_angle"): Tolerance(Kind.AT_LEAST, 180, 10, 20),
    ("lunge", "line_deviation"): Tolerance(Kind.AT_MOST, 0, 6, 12),
    ("lunge", "arms_by_ears"): Tolerance(Kind.AT_MOST, 0, 15, 30),
    ("backward_roll", "head_turn"): Tolerance(Kind.AT_MOST, 0, 15, 30),
    ("backward_roll", "knee_contact_time"): Tolerance(Kind.AT_MOST, 0, 0.06, 0.15),
    ("backward_roll", "standing_sway"): Tolerance(Kind.AT_MOST, 0, 15, 30),
    ("cartwheel", "knee_angle"): Tolerance(Kind.AT_LEAST, 180, 15, 30),
    ("cartwheel", "legs_apart"): Tolerance(Kind.AT_LEAST, 120, 20, 40),
    ("shoulder_stand", "rise_hands_used"): Tolerance(Kind.AT_MOST, 0, 0, 1),
}
UNITS = {"line_deviation": "% chord", "knee_contact_time": "s", "standing_sway": "% leg", "rise_hands_used": "hands"}


def day(week: int) -> str:
    """ISO date of a week's session; week 0 is the first."""
    return (FIRST + timedelta(days=7 * week)).isoformat()


def row(
    detail: str, low: float, high: float, *, skill: str = "lunge", week: int = 0, athlete: str = "OT-01", side: str = "", setting: str = "alone",
    attempt: int = 1, on: str | None = None,
) -> dict:  # fmt: skip
    """One reading whose value is the middle of its interval; NaN ends make it empty."""
    value = (low + high) / 2
    when = day(week) if on is None else on
    return {
        "clip": f"{athlete}_{when}_{skill}.mp4", "athlete": athlete, "cohort": "Otters", "date": when, "skill": skill, "setting": setting,
        "attempt": attempt, "start_s": 0.0, "end_s": 3.0, "detail": detail, "side": side, "value": value, "low": low, "high": high,
        "unit": UNITS.get(detail, "deg"), "usable_share": 1.0, "verdict": "", "reason": "" if np.isfinite(value) else "Hidden.",
        "link": f"{athlete}_{when}_{skill}_{attempt}", "at_s": 1.0, "lead_side": "left",
    }  # fmt: skip


def table(*rows: dict) -> pd.DataFrame:
    """Readings as the store gives them."""
    return pd.DataFrame(rows, columns=[*READING_COLUMNS, "link", "at_s", "lead_side"])
