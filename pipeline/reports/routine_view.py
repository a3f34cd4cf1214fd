"""Alone against routine as the pages show it: what falls apart first, for the club and for one athlete, each loss with its range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd
from markupsafe import Markup

from pipeline.reports.difference_words import unit_of
from pipeline.reports.language import Translations, in_units
from pipeline.reports.numbers import half_width, plus_minus, quantity, shown_ends, span
from pipeline.reports.reading_view import column_title, skill_title
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store
from pipeline.trends.filters import latest
from pipeline.trends.routine_loss import Basis, Loss, athlete_losses, club_losses, learn_loss_scatter, paired_losses
from pipeline.trends.sessions import sessions
from pipeline.trends.shrink import Prior
from pipeline.vocabulary import Setting

WEEKS = 26  # the last half year, as the trends show it
WIDE, HIGH = 200, 18  # of a drawn loss
HIDDEN = 0.25  # share of a level's ± from which on it is said that attempts lay on both sides of the target


@dataclass(frozen=True)
class LossRow:
    """One detail: levels, what is lost, and what can be said about it."""

    title: str
    skill: str
    alone: str
    routine: str
    lost: str
    range: str
    bar: Markup
    said: str
    sure: bool  # a loss that is more than chance
    count: str


@dataclass(frozen=True)
class RoutineRecords:
    """What the store knows of alone against routine in the last half year."""

    pairs: pd.DataFrame
    scatter: dict[tuple[str, str], Prior] = field(default_factory=dict)

    def athlete(self, code: str) -> list[Loss]:
        """One athlete's details, ranked."""
        return athlete_losses(self.pairs, code, self.scatter)

    def club(self) -> list[Loss]:
        """The club's details, ranked."""
        return club_losses(self.pairs)


def read_pairs(store: Store, tolerances: Tolerances, *, athlete: str = "", since: str = "") -> RoutineRecords | None:
    """Alone against routine, of everybody who was filmed in a routine or of one athlete; None where nobody was. since : an ISO date,
    where later than the half year."""
    attempts = store.attempts(athlete or None)
    codes = sorted(set(attempts.loc[attempts["setting"] == Setting.ROUTINE, "athlete"]) - {""})
    newest = store.latest_date()
    if not codes or not newest:
        return None
    pairs = paired_losses(
        sessions(store.lean_readings(athletes=codes, since=max(str(latest(newest, WEEKS)), since), until=newest)), tolerances
    )
    return RoutineRecords(pairs, learn_loss_scatter(pairs))


def loss_rows(tr: Translations, losses: Sequence[Loss], tolerances: Tolerances, *, club: bool) -> list[LossRow]:
    """The rows of a ranking, in its order, drawn on one scale: shares of the tolerances."""
    scale = _scale(losses, tolerances)
    return [_row(tr, one, tolerances, scale, club) for one in losses]


def _row(tr: Translations, one: Loss, tolerances: Tolerances, scale: tuple[float, float], club: bool) -> LossRow:
    unit = unit_of(one.skill, one.detail)
    half = half_width(one.low, one.high) if math.isfinite(one.low) else math.inf
    size = in_units(tr, quantity(abs(one.loss), unit, half=half))
    nothing = not any(digit in size for digit in "123456789")
    words = tr.gettext("%s lost") if one.loss > 0 else tr.gettext("%s gained")
    low, high = (one.low, one.high) if one.loss > 0 or nothing else (-one.high, -one.low)  # of what was gained, as the words say
    ends = in_units(tr, span(low, high, unit)) if math.isfinite(one.low) else ""
    target = tolerances[one.skill, one.detail].target
    return LossRow(
        title=column_title(tr, one.column), skill=skill_title(one.skill),
        alone=_level(tr, one.alone, one.alone_range, one.alone_off, one, target),
        routine=_level(tr, one.routine, one.routine_range, one.routine_off, one, target),
        lost=tr.gettext("nothing lost") if nothing else words % size, range=ends,
        bar=loss_bar(one, tolerances[one.skill, one.detail].close_within, scale), said=_said(tr, one), sure=one.sure and one.loss > 0,
        count=_count(tr, one, club),
    )  # fmt: skip


def _level(tr: Translations, value: float, ends: tuple[float, float], off: float, one: Loss, target: float) -> str:
    """A level with its ±, and beside it how far off the attempts were where their mean hides that: one piked, the next arched."""
    unit = unit_of(one.skill, one.detail)
    low, high = shown_ends(value, *ends, one.skill, one.detail)
    level = in_units(tr, plus_minus(value, low, high, unit) if math.isfinite(low) else quantity(value, unit))
    hidden = off - abs(value - target) > HIDDEN * half_width(*ends)
    return f"{level} ({tr.gettext('%s off') % in_units(tr, quantity(off, unit))})" if hidden else level


def first_rows(losses: Sequence[Loss], least: int = 4) -> int:
    """How many rows of a ranking stand open: all that were lost beyond doubt, in the club or in these attempts, and a few at least."""
    first = max(min(least, len(losses)), *(i for i, one in enumerate(losses, 1) if one.low > 0), 0)
    return len(losses) if len(losses) == first + 1 else first  # one row alone is not put away


def _said(tr: Translations, one: Loss) -> str:
    if one.basis is Basis.USUAL:
        if one.sure:
            return (
                tr.gettext("falls apart: more than chance makes")
                if one.loss > 0
                else tr.gettext("better in the routine: more than chance makes")
            )
        if one.low > 0:
            return tr.gettext("lost, but among so many details chance could have made it")
        return tr.gettext("chance could have made it")
    if one.basis is Basis.THESE:
        if one.low > 0:
            return tr.gettext("lost in these attempts; too few to say what is usual")
        return tr.gettext("too few to say what is usual")
    return tr.gettext("too few to say what is usual, and the readings have no range")


def _count(tr: Translations, one: Loss, club: bool) -> str:
    pairs = tr.ngettext("%d pair of sessions", "%d pairs of sessions", one.pairs) % one.pairs
    return f"{tr.ngettext('%d athlete', '%d athletes', one.athletes) % one.athletes}, {pairs}" if club else pairs


def _scale(losses: Sequence[Loss], tolerances: Tolerances) -> tuple[float, float]:
    """The lowest and highest share that is drawn; 0 is always among them."""
    ends = [0.0, 0.5]
    for one in losses:
        close = tolerances[one.skill, one.detail].close_within
        ends += [end / close for end in (one.loss, one.low, one.high) if close > 0 and math.isfinite(end)]
    low, high = max(min(ends), -2.0), min(max(ends), 3.0)
    return low - 0.04 * (high - low), high + 0.04 * (high - low)


def loss_bar(one: Loss, close_within: float, scale: tuple[float, float]) -> Markup:
    """The loss as a dot with its range, from a line at no loss; right is lost. Silent to a screen reader: the words beside it say all."""
    if not close_within > 0:
        return Markup("")
    low, high = scale

    def at(loss: float) -> str:
        return f"{min(max((loss / close_within - low) / (high - low), 0.0), 1.0) * WIDE:.1f}"

    middle, solid = HIGH / 2, one.basis is Basis.USUAL
    parts = [f'<path d="M{at(0.0)} 1V{HIGH - 1}" stroke="currentColor" stroke-opacity=".45" stroke-width="1" fill="none"/>']
    if math.isfinite(one.low):
        dashes = "" if solid else ' stroke-dasharray="3 3"'
        parts.append(f'<path d="M{at(one.low)} {middle}H{at(one.high)}" stroke="currentColor" stroke-width="2" fill="none"{dashes}/>')
    fill = "currentColor" if one.sure else "none"
    parts.append(f'<circle cx="{at(one.loss)}" cy="{middle}" r="4.2" fill="{fill}" stroke="currentColor" stroke-width="1.8"/>')
    return Markup(f'<svg class="loss" viewBox="-6 0 {WIDE + 12} {HIGH}" width="{WIDE + 12}" height="{HIGH}" aria-hidden="true" focusable="false">') + Markup(
        "".join(parts)
    ) + Markup("</svg>")  # fmt: skip
