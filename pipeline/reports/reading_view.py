"""One scored reading and what the page says of it: number, meaning, next step, ribbon."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup

from pipeline.practice.evidence import Evidence
from pipeline.reports.language import Translations, drawn_in_units, in_units
from pipeline.reports.numbers import OF_WHAT, doubt, half_width, number, outwards, places, plus_minus, quantity, span
from pipeline.reports.plots import ribbon
from pipeline.reports.records import COLUMN, ReadingRow
from pipeline.reports.said import said
from pipeline.reports.words import DETAIL_WORDS, GENERIC, SKILL_WORDS, VERDICT_MEANS, VERDICT_WORDS, DetailWords
from pipeline.scoring.tolerances import Kind, Tolerance
from pipeline.scoring.verdicts import NOT_JUDGED, TOO_WIDE
from pipeline.vocabulary import Skill, Verdict, known_detail


@dataclass(frozen=True)
class VerdictView:
    """A verdict as the pages show it."""

    id: str  # for class names and shapes: met, close, not-yet, cannot-tell
    word: str
    means: str


VERDICTS = {str(v): VerdictView(v.replace(" ", "-"), VERDICT_WORDS[v], VERDICT_MEANS[v]) for v in Verdict}


@dataclass(frozen=True)
class ReadingView:
    """All words and drawings of one reading."""

    anchor: str
    title: str
    v: VerdictView
    shown: str  # 168° ± 4°, or nothing
    exact: str  # the stored value in full
    meaning: str
    reason: str
    ribbon: Markup
    next: str
    film: str
    what: str
    good: str
    wanted: str
    how: str
    range: str


def is_further(skill: str, detail: str) -> bool:
    """Whether a detail stands behind the body lines."""
    known = known_detail(skill, detail)
    return known is not None and known.further


def detail_words(skill: str, detail: str) -> DetailWords:
    """The words of a detail, or general ones for a detail added later."""
    return DETAIL_WORDS.get((Skill(skill), detail), GENERIC) if skill in set(Skill) else GENERIC


def skill_title(skill: str) -> str:
    """A skill's name for headings."""
    return SKILL_WORDS[Skill(skill)].title if skill in set(Skill) else skill.replace("_", " ")


def column_title(tr: Translations, column: COLUMN) -> str:
    """A detail's heading, with its side."""
    skill, detail, side = column
    known = known_detail(skill, detail)
    title = tr.gettext(known.title) if known else detail.replace("_", " ")
    side_words = tr.gettext("left") if side == "left" else tr.gettext("right")
    return f"{title}, {side_words}" if side else title


def short_value(tr: Translations, row: ReadingRow) -> str:
    """The value for a table cell; nothing where there is none."""
    if not math.isfinite(row.value):
        return ""
    return in_units(tr, quantity(row.value, row.unit, half=half_width(row.low, row.high)))


def full_value(tr: Translations, row: ReadingRow | Evidence) -> str:
    """The value with its ± or range and its unit."""
    return in_units(tr, plus_minus(row.value, row.low, row.high, row.unit))


def short_doubt(row: ReadingRow) -> str:
    """The value's ± or interval for a table cell; nothing where there is no value."""
    return doubt(row.value, row.low, row.high, row.unit) if math.isfinite(row.value) else ""


def reading_view(tr: Translations, row: ReadingRow, tolerance: Tolerance | None) -> ReadingView:
    """What the page says of one reading."""
    words, known = detail_words(row.skill, row.detail), known_detail(row.skill, row.detail)
    has_value = math.isfinite(row.value)
    own = has_value and row.reason in NOT_JUDGED  # measured, and there is nothing to tell
    tolerance = None if own else tolerance
    shown = full_value(tr, row) if has_value else ""
    under, over, apart = _faults(row, tolerance) if has_value and tolerance else (False, False, 0.0)
    decided = row.verdict in (Verdict.CLOSE, Verdict.NOT_YET)
    by_chance = has_value and tolerance is not None and _swallowed(row, tolerance.target)
    return ReadingView(
        anchor=row.anchor,
        title=column_title(tr, row.column),
        v=VERDICTS[row.verdict],
        shown=shown,
        exact=repr(row.value) if has_value else "",
        meaning=_meaning(tr, row, words, under, over, apart, by_chance) if has_value and tolerance else "",
        reason=said(tr, row.reason),
        ribbon=_ribbon(tr, row, tolerance, shown) if has_value and tolerance else Markup(""),
        next=(words.next_under if under else words.next_over if over else "") if decided and not by_chance else "",
        film=film_again(row),
        what=known.what if known else "",
        good=words.good,
        wanted=_wanted(tr, row.unit, tolerance),
        how=words.how,
        range=_range(tr, row, tolerance),
    )


def _swallowed(row: ReadingRow, target: float) -> bool:
    """Whether the range, as it is shown, reaches the target: then a fault may be none."""
    low, high = outwards(row.low, row.high, row.unit)
    return low <= target <= high


def film_again(row: ReadingRow) -> str:
    """How to film the skill so that a reading can be told, untranslated; nothing where its reason says so itself, or it is told."""
    dark = row.verdict == Verdict.CANNOT_TELL and row.reason in ("", TOO_WIDE)
    return SKILL_WORDS[Skill(row.skill)].film if dark and row.skill in set(Skill) else ""


def _faults(row: ReadingRow, tolerance: Tolerance) -> tuple[bool, bool, float]:
    """Whether the value lies under or over the target on a side that counts, and by how much."""
    apart = row.value - tolerance.target
    rounded = round(abs(apart), places(row.unit, half_width(row.low, row.high)))
    under = apart < 0 and tolerance.kind is not Kind.AT_MOST and rounded > 0
    over = apart > 0 and tolerance.kind is not Kind.AT_LEAST and rounded > 0
    return under, over, abs(apart)


def _meaning(tr: Translations, row: ReadingRow, words: DetailWords, under: bool, over: bool, apart: float, by_chance: bool) -> str:
    fault = words.under if under else words.over if over else ""
    if not fault:
        return tr.gettext(words.good) if words.good and row.verdict == Verdict.MET else ""
    amount = in_units(tr, quantity(apart, row.unit, half=half_width(row.low, row.high)))
    of_what = f" {tr.gettext(OF_WHAT[row.unit])}" if row.unit in OF_WHAT else ""
    doubt = tr.gettext(", which is less than can be told") if by_chance else ""
    if row.verdict == Verdict.CANNOT_TELL and not by_chance:
        doubt = tr.gettext(", at a guess")
    return f"{amount}{of_what} {tr.gettext(fault)}{doubt}."


def _ribbon(tr: Translations, row: ReadingRow, tolerance: Tolerance, shown: str) -> Markup:
    words = {str(v): tr.gettext(VERDICT_WORDS[v]) for v in (Verdict.MET, Verdict.CLOSE, Verdict.NOT_YET)}
    label = tr.gettext("%(value)s; %(wanted)s Verdict: %(verdict)s.") % {
        "value": shown, "wanted": _wanted(tr, row.unit, tolerance), "verdict": tr.gettext(VERDICTS[row.verdict].word),
    }  # fmt: skip
    return drawn_in_units(tr, ribbon(row.value, row.low, row.high, row.unit, tolerance, VERDICTS[row.verdict].id, words, label))


def _wanted(tr: Translations, unit: str, tolerance: Tolerance | None) -> str:
    if tolerance is None:
        return ""
    return tr.gettext("Met: %(met)s. Close: %(close)s.") % {
        "met": _band(tr, tolerance.met, unit),
        "close": _band(tr, tolerance.close, unit),
    }


def _band(tr: Translations, band: tuple[float, float], unit: str) -> str:
    low, high = band
    half = math.inf if all(not math.isfinite(e) or float(e).is_integer() for e in band) else 0.5
    least, most = (in_units(tr, quantity(end, unit, half=half)) for end in (low, high))
    if not math.isfinite(low):
        return tr.gettext("up to %s") % most
    if not math.isfinite(high):
        return tr.gettext("%s and more") % least
    return tr.gettext("%(low)s to %(high)s") % {"low": least, "high": most}


def _range(tr: Translations, row: ReadingRow, tolerance: Tolerance | None) -> str:
    said = []
    if math.isfinite(row.value):
        said.append(tr.gettext("95 %% range: %s.") % in_units(tr, span(row.low, row.high, row.unit)))
    said.append(tr.gettext("%s %% of the frames in this part could be used.") % number(100 * row.usable_share))
    if math.isfinite(row.at_s):
        said.append(tr.gettext("Moment shown: %s s into the clip.") % number(row.at_s, 2))
    if tolerance is not None:
        said.append(tr.gettext("Tolerance from: %s.") % tolerance.source)
    return " ".join(said)
