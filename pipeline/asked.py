"""What was typed after an option, as a date or one of a few words; anything else is one plain line and exit code 2."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import TypeVar

from pipeline.errors import WrongCommandLine, shown

Choice = TypeVar("Choice", bound=StrEnum)


def asked_day(option: str, text: str | None) -> date | None:
    """The day, written as in the tables (2026-03-02 or 2.3.2026); None where nothing was typed. Raises WrongCommandLine."""
    from pipeline.clips.roster import read_date

    try:
        return read_date(text) if text else None
    except ValueError as error:
        raise WrongCommandLine(
            f"{option}: expected a date such as 2026-03-02 or 2.3.2026, but got {shown(str(text))}. Write the year in full and try again."
        ) from error


def asked_for(option: str, text: str | None, choice: type[Choice]) -> Choice | None:
    """One of the choices; None where nothing was typed. Raises WrongCommandLine."""
    try:
        return choice(text) if text else None
    except ValueError as error:
        expected = ", ".join(c for c in choice if c)
        raise WrongCommandLine(f"{option}: expected one of {expected}, but got {shown(str(text))}. Choose one and try again.") from error
