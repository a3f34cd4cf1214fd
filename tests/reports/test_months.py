"""Years of attempts: the newest stand on the athlete's own page, earlier ones on the pages of their months, and bookmarks still land."""

import re
from pathlib import Path
from urllib.parse import unquote

import pytest

from pipeline.reports.places import IN_FULL, days_in_full
from pipeline.reports.site import write_site
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store
from tests.reports import invented
from tests.reports.test_site import Page


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """One athlete, half a year, about 110 attempts."""
    out = tmp_path_factory.mktemp("season")
    with Store(out / "data" / "matside.sqlite") as store:
        invented.fill(store, out / "data", athletes=1, weeks=20, pictures=False)
        write_site(store, load_tolerances(), out, out / "data")
    return out


def own(season: Path) -> Page:
    return Page(season / "athletes" / "OT-01.html")


def sections(page: Page) -> list[str]:
    return [a["id"] for tag, a in page.elements if tag == "section" and "attempt" in a.get("class", "").split()]


def test_whole_days_the_newest_first_and_at_least_one():
    day = "2026-03-{:02d}".format
    assert days_in_full([day(i) for i in range(1, 6) for _ in range(10)]) == {day(5), day(4)}, "20 attempts; a third day makes 30"
    assert days_in_full([day(9)] * (IN_FULL + 5)) == {day(9)}
    assert days_in_full(["", day(1)]) == {"", day(1)} and days_in_full([]) == set()


def test_every_attempt_stands_in_full_on_exactly_one_page_and_is_listed_on_her_own(season):
    with Store(season / "data" / "matside.sqlite") as store:
        links = set(store.attempts("OT-01")["link"])
    assert len(links) > 3 * IN_FULL
    months = [Page(path) for path in sorted((season / "athletes").glob("OT-01.2026-*.html"))]
    full = [anchor for page in (own(season), *months) for anchor in sections(page)]
    assert sorted(full) == sorted(links) and len(sections(own(season))) <= IN_FULL
    assert len(months) >= 4 and max(len(sections(page)) for page in months) < 40
    assert links <= set(own(season).ids), "a bookmark without scripts finds the line that leads on"


def test_every_link_leads_to_a_place_that_is_there(season):
    by_path = {path.resolve(): Page(path) for path in season.rglob("*.html")}
    for page in by_path.values():
        assert len(page.ids) == len(set(page.ids)), page.path.name
        for link in page.links:
            target, _, anchor = link.partition("#")
            file = (page.path.parent / unquote(target)).resolve() if target else page.path.resolve()
            assert file.is_file() and (not anchor or unquote(anchor) in by_path[file].ids), f"{page.path.name}: {link}"


def test_her_own_page_does_not_grow_with_the_years(season, tmp_path):
    with Store(tmp_path / "data" / "matside.sqlite") as store:
        invented.fill(store, tmp_path / "data", athletes=1, weeks=10, pictures=False)
        write_site(store, load_tolerances(), tmp_path, tmp_path / "data")
    short, long = ((out / "athletes" / "OT-01.html").stat().st_size for out in (tmp_path, season))
    added = len(own(season).ids) - len(own(tmp_path).ids)
    assert added > 30 and long - short < 400 * added, "a line for each earlier attempt, and no more"


def test_a_month_whose_attempts_are_gone_goes_too(season, tmp_path):
    with Store(season / "data" / "matside.sqlite") as store, Store(tmp_path / "data" / "matside.sqlite") as other:
        invented.fill(other, tmp_path / "data", athletes=1, weeks=20, pictures=False)
        write_site(other, load_tolerances(), tmp_path, tmp_path / "data")
        assert (tmp_path / "athletes" / "OT-01.2026-03.html").is_file()
        for clip in store.clips().query("'2026-03-01' <= date <= '2026-03-31'")["clip"]:
            other.remove(clip)
        write_site(other, load_tolerances(), tmp_path, tmp_path / "data")
    assert not (tmp_path / "athletes" / "OT-01.2026-03.html").exists() and (tmp_path / "athletes" / "OT-01.2026-04.html").exists()


@pytest.mark.chromium
@pytest.mark.parametrize("part", ["", "-line_deviation"])
def test_a_bookmark_of_an_attempt_that_has_moved_lands_on_it(season, open_page, part):
    month = Page(season / "athletes" / "OT-01.2026-03.html")
    anchor = next(i for i in month.ids if re.search(r"_\d+-line_deviation$", i)).removesuffix("-line_deviation") + part
    page = open_page(season / "athletes" / "OT-01.html", anchor=anchor)
    page.wait_for_url(f"**/OT-01.2026-03.html#{anchor}")
    page.wait_for_timeout(300)
    assert -5 <= page.locator(f"[id='{anchor}']").bounding_box()["y"] < 450
    assert page.complaints == []


@pytest.mark.chromium
def test_a_bookmark_of_what_is_folded_away_opens_it(season, open_page):
    anchor = next(i for i in own(season).ids if i.endswith("-toe_point-left") or i.endswith("-toe_point"))
    page = open_page(season / "athletes" / "OT-01.html", anchor=anchor)
    page.wait_for_timeout(300)
    assert page.locator(f"[id='{anchor}']").is_visible()
