"""What comes out of a printer: few sheets of A4 and of Letter, no plot or picture cut, nothing over the edge."""

import re

import pytest

from tests.reports.test_axe import club  # noqa: F401  a fixture

pytestmark = pytest.mark.chromium
PAPER = {"A4": (794, 1123), "Letter": (816, 1056)}  # at 96 dots an inch: ISO 216, and 8.5 by 11 inches
MARGIN = 53  # 14 mm


def sheets(page, paper: str) -> int:
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", page.pdf(format=paper)))


@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize(
    ("name", "most"), [("trends/OT-01.html", 5), ("cohorts/index.html", 5), ("athletes/OT-01.html", 8), ("index.html", 3)]
)
def test_few_sheets_and_nothing_cut(club, open_page, name, most, paper):  # noqa: F811
    page = open_page(club / name, width=PAPER[paper][0] - 2 * MARGIN)
    page.emulate_media(media="print")
    assert 1 <= sheets(page, paper) <= most
    tall = page.evaluate("[...document.querySelectorAll('.reading, .series, .pair, figure, tr, .detail')].map(e => e.offsetHeight)")
    assert max(tall) < PAPER[paper][1] - 2 * MARGIN, "each fits on a sheet"
    whole = page.evaluate(
        "[...document.querySelectorAll('.reading, .series, .pair, figure, tr')].filter(e => e.offsetHeight && !getComputedStyle(e).breakInside.startsWith('avoid')).length"
    )
    assert whole == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= PAPER[paper][0] - 2 * MARGIN


def test_on_paper_an_athletes_page_holds_the_latest_day_and_another_attempt_when_asked_for(club, open_page):  # noqa: F811
    page = open_page(club / "athletes" / "OT-01.html")
    page.emulate_media(media="print")
    shown = page.locator("section.attempt:visible").count()
    older = page.locator("section.attempt.older")
    assert shown and older.count() and not older.first.is_visible()
    asked = open_page(club / "athletes" / "OT-01.html", anchor=older.first.get_attribute("id"))
    asked.emulate_media(media="print")
    assert asked.locator("section.attempt:visible").count() == shown + 1
