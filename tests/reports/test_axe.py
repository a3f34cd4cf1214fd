"""No serious or critical fault in any kind of page, as axe-core finds them: light and dark, narrow and wide.

axe-core (Deque Systems, MPL 2.0) checks pages against WCAG; its copy comes with the package axe-playwright-python.
"""

import pytest

pytestmark = pytest.mark.chromium
PAGES = (
    "index.html",
    "latest.html",
    "athletes/OT-01.html",
    "athletes/HE-02.2026-03.html",
    "trends/OT-01.html",
    "trends/index.html",
    "cohorts/index.html",
)
GRAVE = ("serious", "critical")
ALSO = ("landmark-unique", "region", "heading-order", "page-has-heading-one")  # called moderate, but they make a page hard to listen to


@pytest.fixture(scope="module")
def club(site, tmp_path_factory):
    """The invented club's pages with trends and cohorts beside them."""
    from pipeline.reports.cohort_page import write_cohorts
    from pipeline.reports.site import write_site
    from pipeline.reports.trend_page import write_athletes
    from pipeline.scoring.tolerances import load_tolerances
    from pipeline.store import Store

    out = tmp_path_factory.mktemp("club")
    monkeypatch = pytest.MonkeyPatch()
    monkeypatch.setattr("pipeline.reports.places.IN_FULL", 16)  # so that there are months
    with Store(site / "data" / "matside.sqlite") as store:
        write_site(store, load_tolerances(), out, site / "data", trends=True)
        write_cohorts(store, load_tolerances(), out)
        write_athletes(store, load_tolerances(), out)
    monkeypatch.undo()
    return out


@pytest.fixture(scope="module")
def axe():
    return pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-playwright-python, of the dev extra").Axe()


def faults(axe, page) -> list[tuple[str, str, int, str]]:
    """(rule, how grave, in how many places, the first place) of all that axe finds wrong."""
    found = axe.run(page).response["violations"]
    return [(v["id"], v["impact"], len(v["nodes"]), v["nodes"][0]["html"][:120]) for v in found]


@pytest.mark.parametrize(("width", "scheme"), [(320, "light"), (390, "dark"), (1280, "light"), (1280, "dark")])
@pytest.mark.parametrize("name", PAGES)
def test_no_grave_fault(club, open_page, axe, name, scheme, width):
    page = open_page(club / name, width=width, color_scheme=scheme, bypass_csp=True)  # axe is a script of the test's own
    page.add_style_tag(content=".attempt{content-visibility:visible!important}")  # sections further down are looked at too
    for details in page.locator("details").all()[:3]:
        details.evaluate("e => e.open = true")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    grave = [fault for fault in faults(axe, page) if fault[1] in GRAVE or fault[0] in ALSO]
    assert grave == []


def test_axe_would_say_so(club, open_page, axe):
    """Known answer: a picture without words and grey on grey are found."""
    page = open_page(club / "index.html", bypass_csp=True)
    page.evaluate("document.querySelector('main').insertAdjacentHTML('beforeend', '<img src=\"x.jpg\"><p id=pale>pale</p>')")
    page.add_style_tag(content="#pale{color:#999;background:#aaa}")
    assert {"image-alt", "color-contrast"} <= {fault[0] for fault in faults(axe, page)}
