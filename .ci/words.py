"""The catalogue of the pages' words: collect them into matside.pot, carry them into each language, compile what is translated.

    python .ci/words.py            # after changing words: collect, carry over, compile
    python .ci/words.py --new fr   # start another language

Words come from four places: `_()` and `trans` in pipeline/reports/templates, `_()` and `gettext()` in pipeline/reports, the
titles and explanations of the details in pipeline/vocabulary.py, and what a change is called in pipeline/trends/words.py.
"""

from __future__ import annotations

import io
import sys
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from babel.messages.catalog import Catalog  # noqa: E402
from babel.messages.extract import extract_from_dir  # noqa: E402
from babel.messages.mofile import write_mo  # noqa: E402
from babel.messages.pofile import read_po, write_po  # noqa: E402

from pipeline.reports.language import DOMAIN, LOCALES  # noqa: E402
from pipeline.trends.words import NEARER  # noqa: E402
from pipeline.vocabulary import DETAILS  # noqa: E402

REPORTS = "pipeline/reports"
METHODS = [("templates/**.html", "jinja2.ext.babel_extract"), ("**.py", "python")]
OPTIONS = {"templates/**.html": {"trim_blocks": "true", "silent": "false"}}
WIDTH = 120


def collected() -> Catalog:
    """All words of the pages as they stand in the source, with the files they stand in."""
    catalog = Catalog(project="Matside", copyright_holder="the Matside authors", charset="utf-8", fuzzy=False)
    found = extract_from_dir(ROOT / REPORTS, METHODS, OPTIONS)
    for name, _line, message, comments, context in sorted(found, key=lambda one: (one[0], one[1])):
        catalog.add(message, locations=[(f"{REPORTS}/{name}", None)], auto_comments=comments, context=context)
    for word in dict.fromkeys(word for pair in NEARER.values() for word in (*pair, "nearer to the target", "further from the target")):
        catalog.add(word, locations=[("pipeline/trends/words.py", None)])
    for detail in DETAILS:
        for words in (detail.title, detail.what):
            catalog.add(words, locations=[("pipeline/vocabulary.py", None)])
    return catalog


def template() -> Path:
    """The file of all words, in English."""
    return LOCALES / f"{DOMAIN}.pot"


def translated(language: str) -> Path:
    """The file of one language's words."""
    return LOCALES / language / "LC_MESSAGES" / f"{DOMAIN}.po"


def languages() -> list[str]:
    """The languages there are besides English."""
    return sorted(path.parts[-3] for path in LOCALES.glob(f"*/LC_MESSAGES/{DOMAIN}.po"))


def text(catalog: Catalog) -> bytes:
    """A catalogue as a .po file that changes only when its words do: no dates, no line numbers."""
    buffer = io.BytesIO()
    write_po(buffer, catalog, width=WIDTH, omit_header=True, sort_output=False, ignore_obsolete=True)
    language = f'"Language: {catalog.locale}\\n"\n"Plural-Forms: {catalog.plural_forms}\\n"\n' if catalog.locale else ""
    head = f'# Written by .ci/words.py.\nmsgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n{language}\n'
    return head.encode() + buffer.getvalue().lstrip()


def read(language: str) -> Catalog:
    """The catalogue of one language."""
    path = translated(language)
    return read_po(io.BytesIO(path.read_bytes() if path.is_file() else b""), locale=language, domain=DOMAIN)


def compiled(catalog: Catalog) -> bytes:
    """A catalogue as the pages read it."""
    catalog.project, catalog.creation_date = "Matside", datetime(2026, 1, 1, tzinfo=UTC)  # the same from run to run
    buffer = io.BytesIO()
    write_mo(buffer, catalog)
    return buffer.getvalue()


def said(string: str | list[str] | tuple[str, ...] | None) -> bool:
    """Whether a translation is there, in all its plural forms."""
    return bool(string) and (isinstance(string, str) or all(string))


def main() -> int:
    words = collected()
    LOCALES.mkdir(exist_ok=True)
    template().write_bytes(text(words))
    print(f"{template().relative_to(ROOT)}: {len(words)} words and sentences")
    for language in sorted({*languages(), *(sys.argv[2:3] if sys.argv[1:2] == ["--new"] else [])}):
        catalog = read(language)
        catalog.update(words, no_fuzzy_matching=True)
        path = translated(language)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text(catalog))
        path.with_suffix(".mo").write_bytes(compiled(read(language)))
        print(f"{path.relative_to(ROOT)}: {sum(bool(m.id) and said(m.string) for m in catalog)} of {len(words)} translated")
    return 0


if __name__ == "__main__":
    sys.exit(main())
