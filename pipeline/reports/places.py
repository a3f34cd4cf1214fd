"""On which page an attempt stands: the newest on the athlete's own, earlier ones on the page of their month. Links stay the same.

A bookmark of an attempt that has moved since still lands: its place on the athlete's own page stays as a line that leads on.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from pipeline.reports.files import slug
from pipeline.reports.records import AttemptRecord

LATEST = "latest.html"  # the page of everybody's latest, beside the index
UNASSIGNED = "unassigned.html"  # the page of clips that nobody has assigned, beside the index
IN_FULL = 24  # attempts on the athlete's own page; whole days, the newest first, and at least one of them


def athlete_file(code: str) -> str:
    """The file name of an athlete's page."""
    return f"{slug(code)}.html"


def month_file(code: str, day: str) -> str:
    """The file of a month's earlier attempts; the dot keeps it apart from every athlete's own page."""
    return f"{slug(code)}.{day[:7] or 'undated'}.html"


def days_in_full(dates: Sequence[str]) -> set[str]:
    """Which days' attempts stand on the athlete's own page: the newest with at most `IN_FULL` attempts together, at least one.

    dates : of each attempt, ISO; attempts without a date count as the oldest day.
    """
    count, total = Counter(dates), 0
    full: set[str] = set()
    for day in sorted(count, reverse=True):
        total += count[day]
        if full and total > IN_FULL:
            break
        full.add(day)
    return full


def places_of(code: str, attempts: Sequence[AttemptRecord]) -> dict[str, str]:
    """For each of an athlete's attempts, by its link, the file of its page."""
    full = days_in_full([a.row.date for a in attempts])
    return {a.row.link: athlete_file(code) if a.row.date in full else month_file(code, a.row.date) for a in attempts}


def places(athletes: Mapping[str, Sequence[AttemptRecord]]) -> dict[str, str]:
    """The same for everybody."""
    return {link: file for code, attempts in athletes.items() for link, file in places_of(code, attempts).items()}
