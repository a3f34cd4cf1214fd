"""Who and when, from the clip's file name and folder. What a name does not say is not guessed."""

from __future__ import annotations

import re
from datetime import date
from pathlib import PurePosixPath

from pipeline.clips.roster import CODE, Roster

DATE = r"(?P<year>20\d{2})-?(?P<month>\d{2})-?(?P<day>\d{2})"
OURS = re.compile(rf"(?P<athlete>{CODE})_{DATE}(?:[_ -].*)?$")  # OT-01_2026-03-02_3
FIRST = re.compile(rf"(?P<athlete>{CODE})[_ ]")  # OT-01 IMG_1234, as a coach may name a phone's clip
PHONE = re.compile(rf"(?:^|[^\d]){DATE}(?:[^\d]|$)")  # VID_20260302_171500, 2026-03-02 17.15.00
EARLIEST_YEAR = 2000  # cameras without a clock write 1904, 1970 or 1980
WRITTEN = 2026  # this file; a computer's clock that says an earlier year is wrong
NOT_CODES = {"IMG", "VID", "MOV", "PXL", "DSC", "MVI", "CLIP", "VIDEO", "WHATSAPP"}  # what phones put first: never an athlete


def athlete_in_name(name: str, roster: Roster) -> str:
    """The athlete's code before a date in the file name; else what is a code on the roster: the name's first word, or a folder around it;
    else empty.

    >>> athlete_in_name("week 9/OT-01_2026-03-02_3.mp4", Roster(None)), athlete_in_name("IMG_1234.MOV", Roster(None))
    ('OT-01', '')
    """
    path = PurePosixPath(name)
    first = FIRST.match(path.stem)
    if first and first["athlete"].upper() in NOT_CODES:
        first = None
    if first and OURS.match(path.stem):
        return first["athlete"]
    words = ([first["athlete"]] if first else []) + list(reversed(path.parts[:-1]))
    return next(filter(None, map(roster.spelled, words)), "")


def possible(day: date, today: date) -> bool:
    """Whether a clip may be of this day: no mistyped year, nor one that a camera without a clock writes. The computer's may be wrong too.

    >>> possible(date(2027, 2, 1), date(2026, 3, 2)), possible(date(2062, 3, 2), date(2026, 3, 2)), possible(date(2026, 3, 2), date(1970, 1, 1))
    (True, False, True)
    """
    return EARLIEST_YEAR <= day.year <= max(today.year, WRITTEN) + 1


def date_in_name(name: str) -> date | None:
    """The day in the file name, as we or a phone write it; else None.

    >>> date_in_name("OT-01_2026-03-02_3.mp4"), date_in_name("VID_20260302_171500.mp4"), date_in_name("IMG_1234.MOV")
    (datetime.date(2026, 3, 2), datetime.date(2026, 3, 2), None)
    """
    stem = PurePosixPath(name).stem
    match = OURS.match(stem) or PHONE.search(stem)
    if match is None:
        return None
    try:
        return date(int(match["year"]), int(match["month"]), int(match["day"]))
    except ValueError:
        return None
