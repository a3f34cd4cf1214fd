"""A points round as CSV: the empty table that goes with a blank sheet, and what comes back filled in."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from pipeline.clips.roster import CODE
from pipeline.clips.tables import read_table
from pipeline.errors import MatsideError, shown
from pipeline.files import csv_text
from pipeline.practice.points import ScoreSheet
from pipeline.practice.points_plan import LONGEST_NAME, Plan
from pipeline.practice.teams import Teams

COLUMNS = ("team", "athlete", "round", "points")


def blank_table(plan: Plan, teams: Teams) -> str:
    """One row for each member and round, points left open."""
    return csv_text(COLUMNS, [(team, code, one.name, "") for team, codes in teams.items() for one in plan.rounds for code in codes])


def sheet_table(sheet: ScoreSheet) -> str:
    """A filled sheet as CSV: also how many details were told and how many were not; points are empty where there was no go."""
    rows = []
    for team, codes in sheet.teams.items():
        for i, one in enumerate(sheet.plan.rounds):
            for code in codes:
                score = sheet.scores[code, i]
                rows.append((team, code, one.name, score.points if score.gone else "", score.told, score.unknown))
    return csv_text((*COLUMNS, "told", "cannot_tell"), rows)


def read_points(path: Path, plan: Plan) -> tuple[Teams, dict[tuple[str, int], int]]:
    """The teams and the points of a table filled in by hand: (athlete, number of the round from 0) -> points.

    An empty cell is no go. Raises MatsideError naming file, row and column: an unknown round, more points than the round has to
    give, something that is no whole number, the same athlete and round twice, or an athlete in two teams.
    """
    rounds = {one.name.casefold(): i for i, one in enumerate(plan.rounds)} | {str(i + 1): i for i in range(len(plan.rounds))}
    teams: dict[str, list[str]] = {}
    team_of: dict[str, str] = {}
    points: dict[tuple[str, int], int] = {}
    rows: dict[tuple[str, int], int] = {}
    for number, row in read_table(path, needs=COLUMNS).rows:
        where = f"{path}, row {number}"
        code, team = row["athlete"], row["team"]
        if not re.fullmatch(CODE, code):
            raise MatsideError(f"{where}, athlete: expected a code such as OT-01 (never a name), but got {shown(code)}.")
        if not 0 < len(team) <= LONGEST_NAME or not team.isprintable():
            raise MatsideError(f"{where}, team: expected the name of a team of at most {LONGEST_NAME} letters, but got {shown(team)}.")
        if team_of.setdefault(code, team) != team:
            raise MatsideError(f"{where}, team: {code} is in {team_of[code]} further up, but here in {team}. Everybody plays in one team.")
        i = rounds.get(row["round"].casefold())
        if i is None:
            names = ", ".join(one.name for one in plan.rounds)
            raise MatsideError(f"{where}, round: expected one of {names}, or its number, but got {shown(row['round'])}.")
        if (code, i) in rows:
            raise MatsideError(f"{where}: {code} in {plan.rounds[i].name} stands in row {rows[code, i]} already. Take one of them out.")
        rows[code, i] = number
        if code not in teams.setdefault(team, []):
            teams[team].append(code)
        if row["points"]:
            points[code, i] = _points(where, row["points"], plan.most(plan.rounds[i]), plan.rounds[i].name)
    if not len(teams) >= 2:
        raise MatsideError(f"{path}: expected at least two teams, but got {len(teams)}.")
    return {name: tuple(codes) for name, codes in teams.items()}, points


def _points(where: str, text: str, most: int, name: str) -> int:
    whole = re.fullmatch(r"(\d{1,4})(?:[.,]0+)?", text)  # spreadsheets like to write 5.0
    if not whole:
        raise MatsideError(f"{where}, points: expected a whole number, or nothing where there was no go, but got {shown(text)}.")
    if int(whole[1]) > most:
        raise MatsideError(f"{where}, points: {name} has {most} points to give at most, but got {text}. Count the marks again.")
    return int(whole[1])


def codes_of(names: Sequence[str]) -> list[str]:
    """Codes given on the command line, apart or with commas."""
    return [code.strip() for name in names for code in name.split(",") if code.strip()]
