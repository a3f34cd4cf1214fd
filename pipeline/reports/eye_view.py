"""The coach's own verdicts as the pages show them: how far the two agree, and which attempts to look at again."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from pipeline.practice.agreement import SCALE, Weights
from pipeline.practice.eye import Compared
from pipeline.reports.files import slug
from pipeline.reports.language import Translations, day_words
from pipeline.reports.numbers import number
from pipeline.reports.places import athlete_file
from pipeline.reports.reading_view import VERDICTS, VerdictView, column_title, skill_title


@dataclass(frozen=True)
class HerWord:
    """What the coach said of one reading, on the attempt."""

    v: VerdictView
    said: str


@dataclass(frozen=True)
class ApartView:
    """One reading on which the two differ."""

    href: str
    what: str
    day: str
    hers: VerdictView
    its: VerdictView


@dataclass(frozen=True)
class EyeView:
    """The page."""

    summary: str
    kappa: str  # or nothing
    interval: str
    other: str  # the other weights
    why_none: str
    same: str
    allowed: str  # in how many her word lies within the reading's range
    columns: list[VerdictView]
    rows: list[tuple[VerdictView, list[int]]]
    open: list[str]
    apart: list[ApartView]  # her word lies outside the reading's range
    possible: list[ApartView]  # within it
    notes: list[str]


def her_word(tr: Translations, verdict: str, said: str, before: int) -> HerWord:
    """Her verdict beside Matside's; `said` is an ISO time."""
    words = tr.gettext("said on %s") % day_words(tr, said[:10])
    if before:
        words += tr.ngettext(", after %d other word", ", after %d other words", before) % before
    return HerWord(VERDICTS[verdict], words)


def eye_view(tr: Translations, compared: Compared, pages: Mapping[str, str] = MappingProxyType({})) -> EyeView:
    """The view of all her verdicts beside Matside's. pages : the file of each attempt's page, by its link."""
    both = compared.both
    linear, quadratic = compared.agree(), compared.agree(Weights.QUADRATIC)
    known = math.isfinite(linear.kappa)
    apart = compared.apart
    summary = " ".join((
        tr.ngettext("%d verdict of the coach,", "%d verdicts of the coach,", len(both)) % len(both),
        tr.ngettext("on %d attempt", "on %d attempts", both["link"].nunique()) % both["link"].nunique(),
        tr.ngettext("by %d athlete.", "by %d athletes.", both["athlete"].nunique()) % both["athlete"].nunique(),
    ))  # fmt: skip
    return EyeView(
        summary=summary,
        kappa=number(linear.kappa, 2) if known else "",
        interval=_range(tr, linear.low, linear.high) if known else "",
        other=tr.gettext("With quadratic weights: %(kappa)s (%(range)s).")
        % {"kappa": number(quadratic.kappa, 2), "range": _range(tr, quadratic.low, quadratic.high)}
        if known
        else "",
        why_none=_why_none(tr, linear.why_none, linear.pairs),
        same=tr.gettext("The same in %(same)d of the %(pairs)d that both could tell; met against not yet in %(far)d.")
        % {"same": linear.same, "pairs": linear.pairs, "far": linear.far},
        allowed=tr.gettext("In %(allowed)d of them the coach's word lies within the reading's own range.")
        % {"allowed": linear.pairs - int((~apart["possible"].astype(bool)).sum())},
        columns=[VERDICTS[v] for v in SCALE],
        rows=[(VERDICTS[v], [int(n) for n in linear.table[i]]) for i, v in enumerate(SCALE)],
        open=[
            tr.gettext("Only Matside cannot tell: %d.") % linear.its_open,
            tr.gettext("Only the coach cannot tell: %d.") % linear.hers_open,
            tr.gettext("Neither can: %d.") % linear.both_open,
        ],
        apart=[_apart(tr, r, pages) for r in apart.itertuples(index=False) if not r.possible],
        possible=[_apart(tr, r, pages) for r in apart.itertuples(index=False) if r.possible],
        notes=_notes(tr, compared),
    )  # fmt: skip


def _apart(tr: Translations, r: Any, pages: Mapping[str, str]) -> ApartView:
    anchor = "-".join(part for part in (slug(r.link), r.detail, r.side) if part)
    what = f"{r.athlete}, {tr.gettext(skill_title(r.skill))}: {column_title(tr, (r.skill, r.detail, r.side))}"
    return ApartView(
        f"athletes/{pages.get(r.link, athlete_file(r.athlete))}#{anchor}", what, day_words(tr, r.date), VERDICTS[r.hers], VERDICTS[r.its]
    )


def _range(tr: Translations, low: float, high: float) -> str:
    return tr.gettext("%(low)s to %(high)s") % {"low": number(low, 2), "high": number(high, 2)}


def _why_none(tr: Translations, why: str, pairs: int) -> str:
    if why == "few":
        return tr.gettext("%d verdicts that both could tell are too few for a figure of agreement; at least 20 are needed.") % pairs
    if why:
        return tr.gettext("Both always said the same one word, so chance alone would agree as well; there is no figure of agreement.")
    return ""


def _notes(tr: Translations, compared: Compared) -> list[str]:
    notes = []
    changed = int((compared.both["before"] > 0).sum())
    if changed:
        notes.append(
            tr.ngettext("She spoke more than once of %d reading; the latest counts, all are kept.",
                        "She spoke more than once of %d readings; the latest counts, all are kept.", changed) % changed
        )  # fmt: skip
    if compared.lost:
        notes.append(
            tr.ngettext("%d verdict is of an attempt that is no longer found in its clip, and is not counted.",
                        "%d verdicts are of attempts that are no longer found in their clips, and are not counted.", compared.lost) % compared.lost
        )  # fmt: skip
    return notes
