"""Small tables of readings whose truth the test sets."""

from datetime import date, timedelta

import numpy as np
import pandas as pd

from pipeline.trends.sessions import Z95
from pipeline.vocabulary import READING_COLUMNS

START = date(2026, 3, 2)


def readings(
    days, values, *, athlete="OT-01", cohort="Otters", detail="hip_angle", skill="shoulder_stand", side="", setting="alone", own=1.0
):
    """One row a value: `days` since the start, own standard deviation `own`; NaN is an empty reading."""
    days, values = np.broadcast_arrays(np.asarray(days), np.asarray(values, float))
    rows = [
        {
            "clip": f"{athlete}_{START + timedelta(days=int(d))}_{k}.mp4", "athlete": athlete, "cohort": cohort,
            "date": (START + timedelta(days=int(d))).isoformat(), "skill": skill, "setting": setting, "attempt": 1, "start_s": 0.0, "end_s": 2.0,
            "detail": detail, "side": side, "value": v, "low": v - Z95 * own, "high": v + Z95 * own, "unit": "deg", "usable_share": 0.9,
            "verdict": "", "reason": "hidden" if np.isnan(v) else "", "lead_side": "right",
        }
        for k, (d, v) in enumerate(zip(days, values, strict=True))
    ]  # fmt: skip
    return pd.DataFrame(rows)[[*READING_COLUMNS, "lead_side"]]


def sessions_of(level, *, rng, weeks=12, attempts=3, per_week=0.0, between=1.5, within=2.5, own=1.0, **names):
    """A series of weekly sessions with the given standard deviations between and within them."""
    day = np.repeat(7 * np.arange(weeks), attempts)
    wobble = np.repeat(between * rng.standard_normal(weeks), attempts)
    return readings(day, level + per_week * day / 7 + wobble + within * rng.standard_normal(len(day)), own=own, **names)
