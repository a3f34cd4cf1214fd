"""The catalogue holds all words of the pages, and a page in another language speaks it as far as it goes."""

import gettext
import importlib.util
import io
import re
from pathlib import Path

import pytest
from markupsafe import Markup

from pipeline.errors import MatsideError
from pipeline.reports.cohort_page import write_cohorts
from pipeline.reports.language import day_words, drawn_in_units, in_units, languages, translations, week_words
from pipeline.reports.site import write_site
from pipeline.reports.trend_page import write_athletes
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store
from tests.reports.test_site import Page

ROOT = Path(__file__).resolve().parents[2]
MEND = "run `python .ci/words.py`"


@pytest.fixture(scope="module")
def words():
    """The tool that keeps the catalogue."""
    pytest.importorskip("babel", reason="needs Babel, of the dev extra")
    spec = importlib.util.spec_from_file_location("words", ROOT / ".ci" / "words.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def keys(catalog) -> set:
    return {message.id for message in catalog if message.id}


def test_the_catalogue_holds_exactly_the_words_of_the_pages(words):
    from babel.messages.pofile import read_po

    source = keys(words.collected())
    assert {"met", "Next", "Short holds; pain means stop.", "left", "Flat hips"} <= source
    written = keys(read_po(io.BytesIO(words.template().read_bytes())))
    assert source == written, f"{MEND}: {sorted(map(str, source ^ written))[:5]}"
    for language in words.languages():
        assert keys(words.read(language)) == source, f"{language}: {MEND}"


def test_what_the_pages_read_is_what_was_translated(words):
    for language in words.languages():
        read, made = (
            {key: said for key, said in gettext.GNUTranslations(io.BytesIO(data))._catalog.items() if key}
            for data in (words.translated(language).with_suffix(".mo").read_bytes(), words.compiled(words.read(language)))
        )
        assert read == made and len(read) > 100, f"{language}: {MEND}"


def test_a_translation_keeps_the_places_for_numbers_and_names(words):
    places = re.compile(r"%(?:\(\w+\))?[.\d]*[sdf%]")
    for language in words.languages():
        for message in words.read(language):
            said = message.string if isinstance(message.string, (tuple, list)) else [message.string]
            asked = message.id if isinstance(message.id, (tuple, list)) else [message.id]
            for one in filter(None, said if message.id else []):
                assert sorted(places.findall(one)) == sorted(places.findall(asked[-1])), one


def test_every_word_written_in_a_template_goes_through_the_catalogue():
    """Text between tags that is neither an expression nor a mark: there must be none."""
    for path in (ROOT / "pipeline" / "reports" / "templates").glob("*.html"):
        text = path.read_text("utf-8")
        text = re.sub(r"{%-?\s*trans\b.*?{%-?\s*endtrans\s*-?%}|{#.*?#}|{%.*?%}|{{.*?}}|<style.*?</style>", " ", text, flags=re.DOTALL)
        plain = [re.sub(r"&\w+;", "", piece).strip() for piece in re.sub(r"<[^>]*>", "\n", text).splitlines()]
        files = {"readings.csv", "clips.csv", "routine.csv"}
        assert [piece for piece in plain if re.search(r"[A-Za-z]{2}", piece) and piece not in files] == [], path.name
        shown = re.findall(r'(?:aria-label|alt|title|placeholder)="([^"{]*[A-Za-z][^"{]*)"', text)
        assert shown == [], path.name


ENGLISH_WORDS = re.compile(
    r"\b(the|of|and|is|are|with|not|from|which|what|this|clips?|hands?|steps?|lengths|knees?|alone|routine|left|right|met|sessions?)\b"
)
GIVEN = ("Saltmarsh", "Invented data", "common practice", "no source", "week/", "Nobody knows whose", "The date cannot be told", "Consent ran out on",
         "Breaks off", "No lunge, cartwheel", "The legs leave", ".csv", "csv")  # fmt: skip


def test_no_english_is_left_on_a_german_page(site, tmp_path):
    """Beyond what others gave: names, made-up reasons, the words of a file of tolerances."""
    with Store(site / "data" / "matside.sqlite") as store:
        write_site(store, load_tolerances(), tmp_path, site / "data", language="de", trends=True)
        write_cohorts(store, load_tolerances(), tmp_path, language="de")
        write_athletes(store, load_tolerances(), tmp_path, language="de", codes=("OT-01",))
    index, athlete = Page(tmp_path / "index.html"), Page(tmp_path / "athletes" / "OT-01.html")
    assert 'lang="de"' in (tmp_path / "index.html").read_text("utf-8")
    for german in ("noch nicht", "erreicht", "Was nicht gemessen wurde, und warum", "Woche vom 16. März 2026", "Bei Schmerz aufhören."):
        assert german in index.words
    assert "Gestreckte Hüfte" in athlete.words and "Tag für Tag" in athlete.words
    assert index.ids == Page(site / "index.html").ids and athlete.ids == Page(site / "athletes" / "OT-01.html").ids, "bookmarks still work"
    left = {
        (path.name, text)
        for path in tmp_path.rglob("*.html")
        for text in Page(path).text
        if ENGLISH_WORDS.search(text.replace("in die", "")) and not any(given in text for given in GIVEN)
    }
    assert left == set()


def test_units_written_out_are_said_in_the_pages_language_also_in_drawings():
    german = translations("de")
    assert in_units(german, "2 steps (0–3 steps)") == "2 Schritte (0–3 Schritte)" and in_units(german, "1 hand") == "1 Hand"
    assert in_units(german, "4.2 ± 1.1 arm lengths/s") == "4.2 ± 1.1 Armlängen/s" and in_units(german, "168°") == "168°"
    assert drawn_in_units(german, Markup("<text>1 step</text>")) == "<text>1 Schritt</text>"
    assert in_units(translations(), "2 steps") == "2 steps"


def test_days_and_weeks_in_german():
    german = translations("de")
    assert day_words(german, "2026-03-02") == "2. März 2026"
    assert week_words(german, "2026-03-04") == "Woche vom 2. März 2026"


def test_a_language_that_is_not_there_is_said_in_one_line():
    assert languages()[:2] == ["en", "de"]
    for language in ("xx", "../en", ""):
        with pytest.raises(MatsideError, match="expected a language that the pages speak: en, de"):
            translations(language)
