"""Rows of readings against truth, in figures: one row a detail, and what matters across them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.bench.in_plane import COLUMN, IN_PLANE, in_plane
from pipeline.vocabulary import Skill, Verdict

STRAIGHT, BENT, ALARM = 170.0, 150.0, 160.0  # degrees: a knee at least so straight, at most so straight, and read as bent below this
RESTED = 0.1  # seconds; a knee on the floor for so long should be seen
SURE = (Verdict.MET, Verdict.NOT_YET)


def summary(rows: pd.DataFrame, plain: pd.DataFrame | None = None) -> pd.DataFrame:
    """One row a skill and detail: n true values, share without a reading, bias, mean absolute error, its 95th percentile and worst, share
    of intervals that hold the truth, mean half-width, readings that say met or not yet, and those of them where the reverse is true;
    beside them what the plain loop gives."""
    out = []
    rows = rows.assign(**_verdicts(rows))
    for (skill, detail), part in rows.groupby(["skill", "detail"]):
        error, read = (part.reading - part.true).dropna(), part.reading.notna()
        inside = (part.low <= part.true + 1e-9) & (part.true <= part.high + 1e-9)
        row = {
            "skill": skill, "detail": detail, "n": len(part), "cannot_tell": 1 - read.mean(), "bias": error.mean(), "MAE": error.abs().mean(),
            "p95": error.abs().quantile(0.95), "worst": error.abs().max(), "covered": inside[read].mean(),
            "half_width": ((part.high - part.low) / 2).mean(), "sure": int(part.sure.sum()), "wrong": int(part.wrong.sum()),
        }  # fmt: skip
        if plain is not None:
            theirs = plain[(plain.skill == skill) & (plain.detail == detail)]
            off = (theirs.reading - theirs.true).dropna().abs()
            row |= {"plain_none": theirs.reading.isna().mean(), "plain_MAE": off.mean(), "plain_p95": off.quantile(0.95)}
        out.append(row)
    return pd.DataFrame(out)


def _verdicts(rows: pd.DataFrame) -> dict[str, np.ndarray]:
    """sure: a reading says met or not yet, by the beginners' tolerances; wrong: and the truth is the reverse."""
    from pipeline.scoring.tolerances import load_tolerances
    from pipeline.scoring.verdicts import score

    tolerances = load_tolerances()
    known = rows.assign(value=rows.reading, usable_share=rows.usable, verdict="", reason=rows.reason.fillna(""))
    truth = rows.assign(value=rows.true, low=rows.true, high=rows.true, usable_share=1.0, verdict="", reason="")
    said, true = (score(table, tolerances).verdict.to_numpy() for table in (known, truth))
    sure = np.isin(said, SURE)
    return {"sure": sure, "wrong": sure & np.isin(true, SURE) & (said != true)}


def sure_and_wrong(rows: pd.DataFrame) -> tuple[int, int]:
    """(readings that say met where the truth is not yet or the reverse, readings that say met or not yet), by the beginners' tolerances."""
    verdicts = _verdicts(rows)
    return int(verdicts["wrong"].sum()), int(verdicts["sure"].sum())


def share(mask: pd.Series) -> str:
    """A share of a set as words: "12 of 40 (30 %)"."""
    return f"{int(mask.sum())} of {len(mask)}" + (f" ({100 * mask.mean():.0f} %)" if len(mask) else "")


def bent_knees(rows: pd.DataFrame) -> str:
    """How many of the cartwheel's bent knees are read as bent, and how many straight ones are, whichever way they bend."""
    knees = rows[(rows.skill == Skill.CARTWHEEL) & (rows.detail == "knee_angle") & rows.reading.notna()]
    bent, straight = knees[knees.true <= BENT], knees[knees.true >= STRAIGHT]
    return (
        f"cartwheel knees bent by {180 - BENT:.0f} degrees or more, read below {ALARM:.0f}: {share(bent.reading < ALARM)}; "
        f"straight ones (within {180 - STRAIGHT:.0f}) read below it: {share(straight.reading < ALARM)}"
    )


def knees_in_plane(rows: pd.DataFrame) -> str:
    """How far off the cartwheel's knees are read that bend within the picture's plane (in_plane.py says what counts), and the others."""
    knees = rows[(rows.skill == Skill.CARTWHEEL) & (rows.detail == "knee_angle") & rows.reading.notna()]
    if COLUMN not in knees or not len(knees):
        return "cartwheel knees in plane: none was read"

    def said(part: pd.DataFrame) -> str:
        error = part.reading - part.true
        inside = (part.low <= part.true + 1e-9) & (part.true <= part.high + 1e-9)
        return (
            f"{len(part)} legs, mean error {error.abs().mean():.1f} degrees, bias {error.mean():+.1f}, 95th percentile "
            f"{error.abs().quantile(0.95):.1f}, held {100 * inside.mean():.0f} %"
        )

    flat = in_plane(knees[COLUMN])
    return (
        f"cartwheel knees in plane (bent towards the camera or away by {IN_PLANE:.0f} degrees at most when most bent): {said(knees[flat])}; "
        f"bent out of it: {said(knees[~flat])}"
    )


def contact(rows: pd.DataFrame) -> str:
    """How often it is decided whether a knee rested on the floor for RESTED seconds, and how often rightly.

    Decided yes: the whole interval lies above 0. Decided no: it lies below RESTED. A yes is right where the knee rested at all, a no
    where it rested for less than RESTED.
    """
    times = rows[(rows.skill == Skill.BACKWARD_ROLL) & (rows.detail == "knee_contact_time") & rows.reading.notna()]
    yes, no = times.low > 0, times.high < RESTED
    right = (yes & (times.true > 0)) | (no & ~yes & (times.true < RESTED))
    return f"knee on the floor: decided in {share(yes | no)}, rightly in {share(right[yes | no])}"


def coverage(rows: pd.DataFrame) -> str:
    """Over all details together."""
    read = rows[rows.reading.notna()]
    inside = (read.low <= read.true + 1e-9) & (read.true <= read.high + 1e-9)
    wrong, sure = sure_and_wrong(rows)
    return f"95 % intervals that hold the truth: {share(inside)}; of {len(rows)} readings {sure} say met or not yet, {wrong} of them where the truth is the reverse"


def found(attempts: pd.DataFrame, within: float) -> str:
    """Attempts found with the right skill, those invented, and how near their ends lie."""
    text = f"attempts found {share(attempts.found)}"
    if "in_the_picture" in attempts:
        text += f", of those in the picture throughout {share(attempts.found[attempts.in_the_picture])}"
    text += f"; more attempts than there were in {int(attempts.extra.sum())} clips"
    if "start" in attempts:
        near = (attempts[["start", "end"]].dropna().abs() <= within).mean()
        text += f"; start within {within} s {100 * near.start:.0f} %, end {100 * near.end:.0f} %"
    return text
