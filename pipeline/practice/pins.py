"""A coach's own focus: kept in the store, so that it stays from run to run and goes with the athlete."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.errors import MatsideError, one_line, shown
from pipeline.store import Store
from pipeline.vocabulary import DETAIL, Side, Skill


@dataclass(frozen=True)
class Pin:
    """One skill's detail for one athlete, until an ISO date (included) or, where empty, until it is taken off."""

    athlete: str
    skill: str
    detail: str
    side: str = ""
    until: str = ""

    def holds(self, today: date) -> bool:
        """Whether it still counts on a day."""
        return not self.until or today.isoformat() <= self.until


def read_pins(store: Store) -> list[Pin]:
    """Every pin, whether it still holds or not."""
    return [Pin(*map(str, row)) for row in store.pins()[["athlete", "skill", "detail", "side", "until"]].itertuples(index=False)]


def pin_focus(store: Store, athlete: str, skill: str, detail: str, *, side: str = "", until: str = "", today: date | None = None) -> Pin:
    """Keep a pin; an earlier one in the same skill is replaced. today : the first day it must hold.

    Raises MatsideError where athlete, skill, detail, side or date is none, or the date is over.
    """
    code, which = known_athlete(store, athlete), known_skill(skill)
    details = [d for of, d in DETAIL if of == which]
    if detail not in details:
        raise MatsideError(f"{detail!r}: expected a detail of {which}: {', '.join(details)}.")
    if side and (side not in set(Side) or not DETAIL[which, detail].sided):
        raise MatsideError(f"--side {side!r}: expected left or right, and a detail that is read for each side by itself.")
    try:
        last = date.fromisoformat(until).isoformat() if until else ""
    except ValueError as error:
        raise MatsideError(f"--until {until!r}: expected a date such as 2027-03-31.") from error
    if last and last < (today or date.today()).isoformat():
        raise MatsideError(f"--until {last}: expected today or a later day, since a pin that is over changes nothing.")
    pin = Pin(code, str(which), detail, side, last)
    store.pin(pin.athlete, pin.skill, pin.detail, pin.side, pin.until)
    return pin


def unpin_focus(store: Store, athlete: str, skill: str = "") -> int:
    """Take off an athlete's pin in one skill, or all of them; how many there were. Raises MatsideError where there was none."""
    codes = {pin.athlete for pin in read_pins(store) if pin.athlete.upper() == athlete.upper()}
    gone = sum(store.unpin(code, str(known_skill(skill)) if skill else "") for code in sorted(codes))
    if not gone:
        raise MatsideError(
            f"{athlete}: nothing is pinned{f' in {skill}' if skill else ''}. `matside focus list` shows what is."
        )  # fmt: skip
    return gone


def known_athlete(store: Store, code: str) -> str:
    """The code as the results or the roster spell it. Raises MatsideError for a code that neither knows."""
    codes = [*store.athletes()["athlete"], *store.roster()["athlete"]]
    for one in codes:
        if one and one.upper() == code.upper():
            return str(one)
    known = ", ".join(sorted({c for c in codes if c})[:12]) or "nobody"
    raise MatsideError(
        f"{one_line(code) or shown(code)}: expected an athlete with clips here or on the roster of the last run; known are {known}."
    )


def known_skill(text: str) -> Skill:
    """A skill by its id, or by its name with spaces. Raises MatsideError."""
    try:
        return Skill(text.strip().lower().replace(" ", "_"))
    except ValueError as error:
        raise MatsideError(f"{text!r}: expected a skill: {', '.join(Skill)}.") from error
