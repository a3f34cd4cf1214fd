"""All words of the pages come through one catalogue. English is written in the source; other languages lie in locale/.

What a language does not say yet is shown in English. `python .ci/words.py` collects the words and compiles the languages.
"""

from __future__ import annotations

import gettext
import re
from datetime import date, timedelta
from pathlib import Path

from markupsafe import Markup

from pipeline.errors import MatsideError

LOCALES = Path(__file__).resolve().parent / "locale"
DOMAIN = "matside"
Translations = gettext.NullTranslations


ENGLISH = "en"


def languages() -> list[str]:
    """The languages pages can be drawn in: English first."""
    return [ENGLISH, *sorted(path.parts[-3] for path in LOCALES.glob(f"*/LC_MESSAGES/{DOMAIN}.mo"))]


def translations(language: str = ENGLISH) -> Translations:
    """The catalogue of a language; MatsideError where there is none."""
    if language not in languages():
        raise MatsideError(f"{language}: expected a language that the pages speak: {', '.join(languages())}.")
    return gettext.NullTranslations() if language == ENGLISH else gettext.translation(DOMAIN, LOCALES, languages=[language])


def translated(tr: Translations, words: dict[str, str]) -> dict[str, str]:
    """The same keys with their words in the language of the page."""
    return {key: tr.gettext(text) for key, text in words.items()}


def _(text: str) -> str:  # marks words for the catalogue
    return text


UNITS = (_("arm lengths/s"), _("steps"), _("step"), _("hands"), _("hand"))  # those that numbers.py writes out
MONTHS = (
    _("January"), _("February"), _("March"), _("April"), _("May"), _("June"), _("July"), _("August"), _("September"), _("October"),
    _("November"), _("December"),
)  # fmt: skip


def in_units(tr: Translations, shown: str) -> str:
    """A number with its unit as numbers.py writes it, or the unit alone, with the unit in the language of the page."""
    for unit in UNITS:
        if shown == unit or shown.endswith(f" {unit}") or f" {unit} " in shown or f" {unit})" in shown:
            return shown.replace(unit, tr.gettext(unit))
    return shown


def drawn_in_units(tr: Translations, drawing: Markup) -> Markup:
    """The same for all writing in a drawing."""
    if type(tr) is gettext.NullTranslations:
        return drawing
    return Markup(re.sub(r"(?<=>)[^<>]+(?=<)", lambda found: in_units(tr, found[0]), drawing))


def day_words(tr: Translations, iso: str) -> str:
    """2026-03-02 as 2 March 2026; what is not a date is said to be none."""
    day = _date(iso)
    if day is None:
        return tr.gettext("no date")
    return tr.gettext("%(day)d %(month)s %(year)d") % {"day": day.day, "month": tr.gettext(MONTHS[day.month - 1]), "year": day.year}


def month_words(tr: Translations, iso: str) -> str:
    """2026-03-02 as March 2026."""
    day = _date(iso)
    if day is None:
        return tr.gettext("no date")
    return tr.gettext("%(month)s %(year)d") % {"month": tr.gettext(MONTHS[day.month - 1]), "year": day.year}


def week_key(iso: str) -> str:
    """2026-03-02 as 2026-W10 (ISO 8601); undated clips share the key `undated`."""
    day = _date(iso)
    if day is None:
        return "undated"
    year, week, _weekday = day.isocalendar()
    return f"{year:04d}-W{week:02d}"


def week_words(tr: Translations, iso: str) -> str:
    """The title of the week a date lies in, by its Monday."""
    day = _date(iso)
    if day is None:
        return tr.gettext("Clips without a date")
    return tr.gettext("Week of %s") % day_words(tr, (day - timedelta(days=day.weekday())).isoformat())


def _date(iso: str) -> date | None:
    try:
        return date.fromisoformat(iso)
    except ValueError:
        return None
