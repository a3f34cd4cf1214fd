"""Who plays with whom: drawn so that each cohort is spread over the teams, or as the coach says."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import numpy as np

from pipeline.errors import MatsideError
from pipeline.practice.points_plan import Plan

Teams = dict[str, tuple[str, ...]]


def make_teams(plan: Plan, there: Mapping[str, str]) -> Teams:
    """The teams of a round. there : athlete's code -> cohort, of everybody who takes part.

    The coach's own teams keep their members as far as they are there. Drawn teams: within each cohort the order is shuffled with the
    plan's seed, and the cohorts one after the other are dealt out like cards, so sizes differ by one at most, and so does each
    cohort's share. Raises MatsideError where a team would be empty.
    """
    if plan.members:
        spelled = {code.upper(): code for code in there}
        teams = {name: tuple(spelled[c.upper()] for c in codes if c.upper() in spelled) for name, codes in plan.members.items()}
    else:
        teams = _dealt(plan, there)
    empty = [name for name, codes in teams.items() if not codes]
    if empty:
        raise MatsideError(f"Points round: expected somebody in every team, but nobody is in {', '.join(empty)}; {len(there)} were there.")
    return teams


def without_team(teams: Teams, there: Mapping[str, str]) -> list[str]:
    """Athletes who were there and are in no team, in order."""
    return sorted(set(there) - {code for codes in teams.values() for code in codes})


def _dealt(plan: Plan, there: Mapping[str, str]) -> Teams:
    wanted = {name.casefold() for name in plan.cohorts}
    cohorts = defaultdict(list)
    for code in sorted(there):
        if not wanted or there[code].casefold() in wanted:
            cohorts[there[code]].append(code)
    rng = np.random.default_rng(plan.seed)
    cards = [code for cohort in sorted(cohorts) for code in rng.permutation(cohorts[cohort]).tolist()]
    names = rng.permutation(plan.names).tolist()  # whose turn is first is drawn too
    dealt = {name: tuple(sorted(cards[i :: len(names)])) for i, name in enumerate(names)}
    return {name: dealt[name] for name in plan.names}
