"""A points round's score: from a session's readings, or from what was written by hand; then the teams, made equal, and their places.

"Cannot tell" gives no points and takes none. Ties stay ties: results are compared as exact fractions.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import pandas as pd

from pipeline.errors import MatsideError
from pipeline.practice.points_plan import Plan, Round, Uneven
from pipeline.practice.teams import Teams, make_teams, without_team
from pipeline.vocabulary import Verdict

SIDES_WORST_FIRST = (Verdict.NOT_YET, Verdict.CANNOT_TELL, Verdict.CLOSE, Verdict.MET)


@dataclass(frozen=True)
class Score:
    """One member in one round. `told` and `unknown` count details; by hand they stay 0."""

    points: int = 0
    told: int = 0
    unknown: int = 0  # details that read "cannot tell"
    gone: bool = True  # whether there was a go at all


@dataclass(frozen=True)
class TeamResult:
    """One team. `value` is what counts after the rule for uneven teams; teams with equal values share a place."""

    name: str
    members: tuple[str, ...]  # who took part
    points: int
    unknown: int
    counted: tuple[str, ...]  # the members whose points count: all, or the best ones
    value: Fraction
    place: int
    tied: bool


@dataclass(frozen=True)
class ScoreSheet:
    """A filled sheet. `scores` by (athlete, number of the round from 0)."""

    plan: Plan
    teams: Teams
    scores: Mapping[tuple[str, int], Score]
    results: tuple[TeamResult, ...]  # best first
    by_detail: Mapping[tuple[int, str, str, str], int] = field(default_factory=dict)  # (round, skill, detail, team) -> points
    not_there: tuple[str, ...] = ()
    without_team: tuple[str, ...] = ()
    by_hand: bool = False

    def total(self, athlete: str) -> int:
        """A member's points over all rounds."""
        return sum(score.points for (code, _round), score in self.scores.items() if code == athlete)


def weaker_side(verdicts: Iterable[str]) -> Verdict:
    """One verdict of a detail with two sides: "not yet" if either is, else "cannot tell" if either is, else the weaker.

    >>> str(weaker_side(["met", "cannot tell"])), str(weaker_side(["not yet", "cannot tell"]))
    ('cannot tell', 'not yet')
    """
    said = set(verdicts)
    return next(verdict for verdict in SIDES_WORST_FIRST if verdict in said)


def fill_sheet(plan: Plan, scored: pd.DataFrame) -> ScoreSheet:
    """The sheet of one session. scored : its readings with verdicts (READING_COLUMNS, of one day or a few).

    Everybody with an attempt took part. An athlete's first attempt at a skill is the go in the first round that names it, the
    second in the next such round; what is beyond that is not counted. Raises MatsideError where there is nothing to count.
    """
    there = dict(zip(scored["athlete"].astype(str), scored["cohort"].astype(str), strict=True))
    there.pop("", None)
    if not there:
        raise MatsideError("Points round: no attempt with an athlete on that day. See the dates on the week's page.")
    teams = make_teams(plan, there)
    team_of = {code: name for name, codes in teams.items() for code in codes}
    verdicts = _goes(scored)
    scores: dict[tuple[str, int], Score] = {}
    by_detail: dict[tuple[int, str, str, str], int] = defaultdict(int)
    for athlete, team in team_of.items():
        gone: dict[str, int] = defaultdict(int)
        for i, one in enumerate(plan.rounds):
            score, given = _score(plan, one, verdicts, athlete, gone)
            scores[athlete, i] = score
            for (skill, detail), points in given.items():
                by_detail[i, skill, detail, team] += points
            for skill in one.skills:
                gone[skill] += 1
    not_there = tuple(sorted(code for codes in plan.members.values() for code in codes if code.upper() not in {c.upper() for c in there}))
    return _sheet(plan, teams, scores, by_detail=dict(by_detail), not_there=not_there, without_team=tuple(without_team(teams, there)))


def sheet_by_hand(plan: Plan, teams: Teams, points: Mapping[tuple[str, int], int]) -> ScoreSheet:
    """The sheet of points written by hand: (athlete, number of the round) -> points. A member without any is not counted as there."""
    if plan.uneven is Uneven.PER_VERDICT:
        raise MatsideError(
            f'{plan.source}, teams.uneven: "{plan.uneven}" needs to know how many details could be told, which a tally by hand does not '
            f'say. Choose "{Uneven.PER_MEMBER}" or "{Uneven.BEST}".'
        )
    went = {code for code, _round in points}
    playing = {name: tuple(code for code in codes if code in went) for name, codes in teams.items()}
    empty = [name for name, codes in playing.items() if not codes]
    if empty:
        raise MatsideError(f"Points round: expected points of somebody in every team, but nobody's came from {' or '.join(empty)}.")
    scores = {
        (code, i): Score(points.get((code, i), 0), gone=(code, i) in points)
        for codes in playing.values() for code in codes for i in range(len(plan.rounds))
    }  # fmt: skip
    not_there = tuple(sorted(code for codes in teams.values() for code in codes if code not in went))
    return _sheet(plan, playing, scores, not_there=not_there, by_hand=True)


def rank(plan: Plan, teams: Teams, scores: Mapping[tuple[str, int], Score]) -> tuple[TeamResult, ...]:
    """The teams, best first, by the plan's rule for uneven teams."""
    smallest = min(len(codes) for codes in teams.values())
    found = []
    for name, codes in teams.items():
        own = {code: [score for (who, _round), score in scores.items() if who == code] for code in codes}
        totals = {code: sum(score.points for score in of) for code, of in own.items()}
        told = sum(score.told for of in own.values() for score in of)
        unknown = sum(score.unknown for of in own.values() for score in of)
        counted = tuple(sorted(codes, key=lambda code: (-totals[code], code))[:smallest]) if plan.uneven is Uneven.BEST else tuple(codes)
        points = sum(totals.values())
        if plan.uneven is Uneven.BEST:
            value = Fraction(sum(totals[code] for code in counted))
        else:
            by = len(codes) if plan.uneven is Uneven.PER_MEMBER else told
            value = Fraction(points, by) if by else Fraction(0)
        found.append((name, tuple(codes), points, unknown, counted, value))
    values = [one[-1] for one in found]
    order = sorted(range(len(found)), key=lambda i: (-values[i], i))
    return tuple(TeamResult(*found[i], place=1 + sum(v > values[i] for v in values), tied=values.count(values[i]) > 1) for i in order)


def _sheet(plan: Plan, teams: Teams, scores: Mapping[tuple[str, int], Score], **more: object) -> ScoreSheet:
    return ScoreSheet(plan, teams, scores, rank(plan, teams, scores), **more)  # type: ignore[arg-type]


def _goes(scored: pd.DataFrame) -> dict[tuple[str, str], list[dict[str, Verdict]]]:
    """(athlete, skill) -> for each attempt in time order the verdict of each detail."""
    sides: dict[tuple[str, str], dict[tuple[str, str, float], dict[str, list[str]]]] = defaultdict(
        lambda: defaultdict(lambda: defaultdict(list))
    )
    for row in scored.itertuples(index=False):
        start = float(row.start_s)
        sides[row.athlete, row.skill][row.date, row.clip, start if math.isfinite(start) else 0.0][row.detail].append(row.verdict)
    return {
        key: [{detail: weaker_side(of) for detail, of in attempts[at].items()} for at in sorted(attempts)]
        for key, attempts in sides.items()
    }


def _score(
    plan: Plan, one: Round, verdicts: Mapping[tuple[str, str], Sequence[Mapping[str, Verdict]]], athlete: str, gone: Mapping[str, int]
) -> tuple[Score, dict[tuple[str, str], int]]:
    """One member's score in one round, and what each detail gave."""
    given: dict[tuple[str, str], int] = {}
    unknown, went = 0, False
    for skill, detail in one.details:
        goes = verdicts.get((athlete, skill), [])
        if gone[skill] >= len(goes):
            continue
        went = True
        verdict = goes[gone[skill]].get(detail, Verdict.CANNOT_TELL)
        if verdict == Verdict.CANNOT_TELL:
            unknown += 1
        else:
            given[skill, detail] = plan.worth(skill, detail)[verdict]
    return Score(sum(given.values()), len(given), unknown, went), given
