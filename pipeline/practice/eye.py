"""The coach's own verdicts beside Matside's. Neither ever overwrites the other; when she changes her mind both her words are kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from pipeline.clips.tables import listed, read_table
from pipeline.errors import MatsideError, shown
from pipeline.practice.agreement import SCALE, Agreement, Weights, agreement
from pipeline.scoring.tolerances import Tolerance
from pipeline.store import Store
from pipeline.vocabulary import DETAILS, Side, Verdict, known_detail

SAME_GO = 0.3  # of two stretches of time together, what they must share to be the same attempt, found anew by a later run
COLUMNS = ("detail", "eye")  # a table also names the attempt: by its link, or by clip and attempt number as in readings.csv


@dataclass(frozen=True)
class Said:
    """One verdict of hers, checked."""

    link: str
    detail: str
    side: str
    verdict: Verdict


@dataclass(frozen=True)
class Compared:
    """Her verdicts beside Matside's.

    both : one row a reading that she has looked at: link, athlete, date, skill, detail, side, hers, its, said (ISO time), before
           (how often she had said something else or the same earlier), possible (whether what she says lies within the reading's own
           95 % range). `its` is "cannot tell" where there is no reading.
    lost : how many of her verdicts are of attempts that are no longer found in their clips.
    """

    both: pd.DataFrame
    lost: int

    @property
    def apart(self) -> pd.DataFrame:
        """The readings on which the two differ and both could tell: first those where her word lies outside the reading's range, of
        these the ones furthest apart first."""
        place = {str(v): i for i, v in enumerate(SCALE)}
        told = self.both[self.both["hers"].isin(place) & self.both["its"].isin(place)]
        steps = (told["hers"].map(place) - told["its"].map(place)).abs().astype(int)
        return told.assign(steps=steps)[steps > 0].sort_values(
            ["possible", "steps", "date", "link"], ascending=[True, False, True, True], kind="stable"
        )

    def agree(self, weights: Weights = Weights.LINEAR) -> Agreement:
        """How far the two agree over all."""
        return agreement(self.both["hers"].tolist(), self.both["its"].tolist(), self.both["athlete"].tolist(), weights=weights)


def check(store: Store, attempt: str, detail: str, verdict: str, side: str = "") -> Said:
    """What she says, checked against what is on record. attempt : its link, as in the page's address after the #. Raises MatsideError."""
    return _Checker(store).check(attempt, detail, verdict, side)


def add(store: Store, said: Sequence[Said], *, now: datetime | None = None) -> None:
    """Keep her verdicts, all of them or none."""
    when = (now or datetime.now(UTC)).isoformat(timespec="seconds")
    store.add_eye((one.link, one.detail, one.side, str(one.verdict), when) for one in said)


def read_said(store: Store, path: Path, *, known_only: bool = False) -> list[Said]:
    """Her verdicts from a table with the columns detail and eye, side where a detail has two, and either `link`, or `clip` and
    `attempt` as readings.csv has them. Rows with nothing under `eye` are passed over. known_only : so are rows of attempts that
    are not on record. Raises MatsideError naming the row; nothing is kept then."""
    table = read_table(path, needs=COLUMNS, also=("link", "clip", "attempt", "side"))
    if "link" not in table.columns and not {"clip", "attempt"} <= set(table.columns):
        raise MatsideError(
            f"{path}: expected a column link, or the columns clip and attempt as in readings.csv; it has {listed(table.columns)}."
        )
    checker = _Checker(store)
    said: list[Said] = []
    seen: dict[tuple[str, str, str], int] = {}
    for number, row in table.rows:
        if not row["eye"]:
            continue
        where = f"{path}, row {number}: "
        if known_only and not checker.knows(row):
            continue
        link = row.get("link") or checker.link_of(row.get("clip", ""), row.get("attempt", ""), where)
        one = checker.check(link, row["detail"], row["eye"], row.get("side", ""), where=where)
        key = (one.link, one.detail, one.side)
        if key in seen:
            raise MatsideError(f"{where}this attempt and detail stand in row {seen[key]} already. Take one of them out.")
        seen[key] = number
        said.append(one)
    if not said:
        raise MatsideError(f"{path}: expected verdicts in the column eye, but all its cells are empty.")
    return said


def compare(store: Store, scored: pd.DataFrame, tolerances: Mapping[tuple[str, str], Tolerance]) -> Compared:
    """Her latest verdicts beside Matside's. scored : the store's readings with verdicts by these tolerances (`scoring.verdicts.score`).

    Her verdict belongs to what she saw: the clip by its content and the stretch of time. A later run that cuts the clip a little
    otherwise, or the athlete's code set right, does not part them.
    """
    latest, lost = _latest(store)
    its = {(r.link, r.detail, r.side): r for r in scored.itertuples(index=False)}
    attempts = {r.link: r for r in store.attempts().itertuples(index=False)}
    rows = []
    for (link, detail, side), (verdict, said, before) in latest.items():
        attempt, reading = attempts[link], its.get((link, detail, side))
        tolerance = tolerances.get((attempt.skill, detail))
        possible = reading is None or tolerance is None or within_range(verdict, reading.low, reading.high, tolerance)
        matside = reading.verdict if reading is not None else str(Verdict.CANNOT_TELL)
        rows.append((link, attempt.athlete, attempt.date, attempt.skill, detail, side, verdict, matside, said, before, possible))
    columns = ["link", "athlete", "date", "skill", "detail", "side", "hers", "its", "said", "before", "possible"]
    return Compared(pd.DataFrame(rows, columns=columns).sort_values(["date", "link", "detail", "side"], ignore_index=True), lost)


def within_range(verdict: str, low: float, high: float, tolerance: Tolerance) -> bool:
    """Whether a value somewhere in [low, high] is what the verdict says, judged without any doubt. Matside says met or not yet only
    where its whole range lies so; a coach who says met where it says close need not contradict it."""
    (met_low, met_high), (close_low, close_high) = tolerance.met, tolerance.close
    if verdict == Verdict.MET:
        return low <= met_high and high >= met_low
    if verdict == Verdict.NOT_YET:
        return low < close_low or high > close_high
    if verdict == Verdict.CLOSE:
        return (low < met_low and high >= close_low) or (high > met_high and low <= close_high)
    return True


def her_verdicts(store: Store, athlete: str | None = None) -> dict[tuple[str, str, str], tuple[str, str, int]]:
    """Her latest word on each reading, of one athlete's clips or of all: (link, detail, side) -> verdict, ISO time, how many words before it."""
    return _latest(store, athlete)[0]


def _latest(store: Store, athlete: str | None = None) -> tuple[dict[tuple[str, str, str], tuple[str, str, int]], int]:
    said = store.eye(athlete)
    if said.empty:
        return {}, 0
    contents = store.contents(athlete)
    present: dict[tuple[str, str], list] = {}
    for row in store.attempts(athlete).itertuples(index=False):
        present.setdefault((contents[row.link], row.skill), []).append(row)
    latest: dict[tuple[str, str, str], tuple[str, str, int]] = {}
    lost = set()
    for row in said.itertuples(index=False):
        shared = {a.link: _shared(a, row) for a in present.get((row.content, row.skill), [])}
        link = max(shared, key=lambda one: shared[one], default="")
        if not link or shared[link] < SAME_GO:
            lost.add((row.link, row.detail, row.side))
            continue
        key = (link, row.detail, row.side)
        latest[key] = (row.verdict, row.said, latest[key][2] + 1 if key in latest else 0)
    return latest, len(lost)


def _shared(a: object, b: object) -> float:
    """The share of two attempts' time that is in both."""
    both = min(a.end_s, b.end_s) - max(a.start_s, b.start_s)  # type: ignore[attr-defined]
    either = max(a.end_s, b.end_s) - min(a.start_s, b.start_s)  # type: ignore[attr-defined]
    return both / either if either > 0 else float(a.start_s == b.start_s)  # type: ignore[attr-defined]


def _whole(number: str) -> bool:
    return number.isdecimal() and len(number) <= 6


class _Checker:
    def __init__(self, store: Store) -> None:
        attempts = store.attempts()
        self.skills = dict(zip(attempts["link"], attempts["skill"], strict=True))
        self.links = {link.casefold(): link for link in self.skills}
        self.by_number = {(r.clip.casefold(), int(r.number)): r.link for r in attempts.itertuples(index=False)}

    def knows(self, row: Mapping[str, str]) -> bool:
        """Whether a table's row is of an attempt on record."""
        link, number = row.get("link", ""), row.get("attempt", "")
        return link.casefold() in self.links if link else _whole(number) and (row.get("clip", "").casefold(), int(number)) in self.by_number

    def link_of(self, clip: str, number: str, where: str) -> str:
        """The link of a clip's attempt by its number."""
        found = self.by_number.get((clip.casefold(), int(number))) if _whole(number) else None
        if found is None:
            numbers = [str(n) for c, n in self.by_number if c == clip.casefold()]
            known = f"that clip has {', '.join(numbers)}" if numbers else "no clip of that name has attempts"
            raise MatsideError(f"{where}clip {shown(clip)}, attempt {shown(number)}: {known}. Copy both from readings.csv.")
        return found

    def _link(self, asked: str) -> str | None:
        """The attempt's link. A mark on the week's page leads to a reading, whose address goes on with -detail-side."""
        return self.links.get(asked) or next((one for key, one in self.links.items() if asked.startswith(f"{key}-")), None)

    def check(self, attempt: str, detail: str, verdict: str, side: str, *, where: str = "") -> Said:
        asked = attempt.rsplit("#", 1)[-1].strip()
        link = self._link(asked.casefold())
        if link is None:
            start = asked[:10]
            near = [one for key, one in self.links.items() if key.startswith(start.casefold())] if start else []
            known = (
                f" Attempts that begin with {start}: {', '.join(near[:6])}."
                if near
                else " It stands after the # when you follow a mark on the week's page."
            )
            raise MatsideError(f"{where}{shown(asked)}: expected an attempt's link, such as OT-01_2026-03-02_1a2b3c4d_1.{known}")
        skill = self.skills[link]
        told_of = known_detail(skill, detail)
        if told_of is None:
            details = ", ".join(d.id for d in DETAILS if d.skill == skill)
            raise MatsideError(f"{where}{shown(detail)}: expected a detail of {skill.replace('_', ' ')} ({details}).")
        sides = [str(s) for s in (Side.LEFT, Side.RIGHT)] if told_of.sided else [""]
        if side.lower() not in sides:
            wanted = "left or right" if told_of.sided else "no side"
            raise MatsideError(f"{where}{detail}: expected {wanted}, but got {shown(side or 'none')}.")
        word = " ".join(verdict.replace("_", " ").replace("-", " ").lower().split())
        if word not in set(Verdict):
            raise MatsideError(f"{where}{shown(verdict)}: expected {', '.join(Verdict)}.")
        return Said(link, detail, side.lower(), Verdict(word))
