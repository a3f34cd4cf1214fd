"""Finding, filtering and turning pages, in Chromium."""

import pytest

from pipeline.scoring.tolerances import load_tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import Store

pytestmark = pytest.mark.chromium


@pytest.fixture(scope="module")
def latest(site):
    """The scored readings of the latest week."""
    with Store(site / "data" / "matside.sqlite") as store:
        scored = score(store.readings(), load_tolerances())
    return scored[scored["date"] >= "2026-03-16"]


def shown(page) -> list[str]:
    return page.locator("table.grid tbody tr:visible th a").all_text_contents()


def test_a_code_is_found_while_it_is_typed(site, open_page):
    page = open_page(site / "index.html")
    assert len(shown(page)) == 6
    page.keyboard.press("/")
    page.keyboard.type("he-0")
    assert shown(page) == ["HE-01", "HE-02"]
    assert page.locator("#filters output").text_content() == "2 of 6 athletes shown"
    page.get_by_label("Athlete", exact=True).fill("")
    assert len(shown(page)) == 6
    assert page.complaints == []


def test_a_cohort_is_picked_out(site, open_page):
    page = open_page(site / "index.html")
    page.get_by_label("Cohort").select_option("Otters")
    assert shown(page) == ["OT-01", "OT-02"]


def test_a_verdict_leaves_those_who_have_it_and_dims_the_rest(site, open_page, latest):
    page = open_page(site / "index.html")
    page.get_by_label("Verdict", exact=True).select_option("not-yet")
    expected = sorted(latest[latest["verdict"] == "not yet"]["athlete"].unique())
    assert len(expected) > 0 and shown(page) == expected
    strong = page.locator("tr:visible .chip:not(.faint)")
    assert set(strong.evaluate_all("all => all.map(e => e.dataset.verdict)")) == {"not-yet"}


def test_a_skill_leaves_its_columns_and_its_athletes(site, open_page, latest):
    page = open_page(site / "index.html")
    page.get_by_label("Skill").select_option("cartwheel")
    assert page.locator("thead tr:last-child th:visible").all_text_contents() == ["Straight legs, left", "Straight legs, right"]
    assert shown(page) == sorted(latest[latest["skill"] == "cartwheel"]["athlete"].unique())


def test_filters_work_together(site, open_page, latest):
    page = open_page(site / "index.html")
    page.get_by_label("Skill").select_option("shoulder_stand")
    page.get_by_label("Verdict", exact=True).select_option("met")
    wanted = latest[(latest["skill"] == "shoulder_stand") & (latest["verdict"] == "met")]
    assert shown(page) == sorted(wanted["athlete"].unique())


def test_without_scripts_there_are_no_dead_controls(site, open_page):
    page = open_page(site / "index.html", java_script_enabled=False)
    assert not page.locator("#filters").is_visible() and len(shown(page)) == 6


def test_n_and_p_turn_pages_but_not_while_typing(site, open_page):
    page = open_page(site / "athletes" / "HE-01.html")
    page.keyboard.press("n")
    page.wait_for_url("**/HE-02.html")
    page.keyboard.press("p")
    page.wait_for_url("**/HE-01.html")
    page = open_page(site / "index.html")
    page.get_by_label("Athlete", exact=True).focus()
    page.keyboard.type("np")
    page.wait_for_timeout(200)
    assert page.url.split("?")[0].endswith("/index.html")
    assert page.complaints == []
