"""The practice sheet as printed and as held in the hand: one page of paper a cohort, black on white, readable on a phone."""

import re
from dataclasses import replace

import pytest

from pipeline.practice.evidence import Evidence, Key
from pipeline.practice.focus import NECK, Focus, Why
from pipeline.practice.lineup import Place, in_line
from pipeline.practice.settings import load_practice
from pipeline.practice.sheet import make_sheet
from pipeline.reports.focus_view import cue_words
from pipeline.reports.language import translations
from pipeline.reports.pages import environment
from pipeline.reports.practice_page import write_practice
from pipeline.reports.practice_words import CUES
from pipeline.reports.site import common
from pipeline.scoring.tolerances import load_tolerances
from pipeline.vocabulary import Side, Skill
from tests.reports.test_axe import GRAVE, axe, faults  # noqa: F401  axe is a fixture
from tests.reports.test_site import Page

pytestmark = pytest.mark.chromium
TR, TOLERANCES = translations(), load_tolerances()
SIZES = {"a4": (595, 842), "letter": (612, 792)}  # points: ISO 216; 8.5 by 11 inches


def longest(skill: Skill, athlete: str) -> Focus:
    """The focus of this skill that takes most room on paper."""
    some = [Focus(athlete, skill, Why.LARGEST, Key(d, "right" if skill is Skill.CARTWHEEL else ""), way) for (s, d) in CUES if s is skill for way in ("under", "over")]  # fmt: skip
    return max(some, key=lambda focus: len(cue_words(TR, focus)))


def cohort(count: int, *, name: str = "Otters", code: str = "OT-%02d", doubtful: bool = False) -> tuple[str, list[Place], dict]:
    """A cohort whose every cell is as full as it can be."""
    line = in_line([
        Place(code % i, str(Side.LEFT if i % 4 == 0 else Side.RIGHT), str(Side.LEFT if i % 4 == 1 else Side.RIGHT), 12, 12)
        for i in range(1, count + 1)
    ])  # fmt: skip
    focuses = {}
    for place in line:
        for skill in (Skill.LUNGE, Skill.BACKWARD_ROLL, Skill.CARTWHEEL, Skill.SHOULDER_STAND):
            one = longest(skill, place.athlete)
            if doubtful:
                detail = "arms_by_ears" if skill is Skill.LUNGE else one.key.detail
                evidence = Evidence(detail, "", "deg", 10, 0, 20, "2026-03-02", "alone")
                one = Focus(place.athlete, skill, Why.CANNOT_TELL, Key(detail, ""), evidence=evidence, latest="2026-03-02")
            elif skill is Skill.BACKWARD_ROLL:
                evidence = Evidence("head_turn", "", "deg", 30, 20, 40, "2026-03-02", "alone")
                one = Focus(place.athlete, skill, Why.SAFETY, Key("head_turn", ""), "over", evidence, 0.3, NECK)
            focuses[place.athlete, str(skill)] = Focus(**{**vars(one), "why": Why.PINNED}) if one.evidence is None else one
    return name, line, focuses


def written(path, *cohorts, note="Invented readings: no child was filmed.", **settings):
    """The page of these cohorts."""
    env = environment(TR)
    env.globals.update(common(TR, TOLERANCES, "Saltmarsh Tumbling Club", note), trends=False)
    asked = load_practice(**settings)
    return write_practice(
        [make_sheet(name, line, focuses, asked) for name, line, focuses in cohorts], TOLERANCES, path, env, TR, latest="2026-03-20"
    )  # fmt: skip


def printed(page) -> list[tuple[int, int]]:
    """Sizes in points of the pages that come out of the printer."""
    pdf = page.pdf(prefer_css_page_size=True)
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    assert len(boxes) >= 1
    return [(round(float(w)), round(float(h))) for w, h in boxes][:1] * pages


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [1, 6, 7, 9, 10, 12])
@pytest.mark.parametrize("doubtful", [False, True])
def test_a_cohort_of_up_to_twelve_is_exactly_one_page(tmp_path, open_page, paper, count, doubtful):
    page = open_page(written(tmp_path / "practice.html", cohort(count, doubtful=doubtful), paper=paper))
    assert printed(page) == [SIZES[paper]]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [1, 2, 3, 6])
def test_few_athletes_fill_the_page_with_larger_type_and_lines_to_write_on(tmp_path, open_page, paper, count):
    page = open_page(written(tmp_path / "practice.html", cohort(count), paper=paper))
    page.emulate_media(media="print")
    inside = SIZES[paper][1] * 96 / 72 - 2 * 9 * 96 / 25.4  # the margins of 9 mm
    sheet, notes = page.locator(".sheet").bounding_box(), page.locator(".notes").bounding_box()
    assert 0.98 * inside < sheet["height"] <= inside
    used = (notes["y"] - sheet["y"]) / sheet["height"]
    written_on = page.locator(".notes").evaluate("e => getComputedStyle(e, '::after').display === 'block'")
    assert used > 0.55 and (written_on or used > 0.88), "what the athletes leave free is for notes"
    size = page.locator(".cue").first.evaluate("e => parseFloat(getComputedStyle(e).fontSize) * 72 / 96")
    assert size >= (17.9 if count <= 3 else 13.9)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_four_stations_and_long_names_still_fit(tmp_path, open_page, paper):
    names = {"name": "Saltmarsh beginners, Tuesday afternoon, hall two", "code": "OTTERS-%02d"}
    assert printed(open_page(written(tmp_path / "practice.html", cohort(12, **names), paper=paper))) == [SIZES[paper]]
    page = open_page(written(tmp_path / "practice.html", cohort(8, **names), paper=paper, stations=4, spotters=3, minutes=30))
    assert printed(page) == [SIZES[paper]]


@pytest.mark.parametrize(("count", "pages"), [(13, 3), (14, 3), (36, 3), (40, 6)])
def test_more_children_have_a_page_a_group_and_it_says_so(tmp_path, open_page, count, pages):
    path = written(tmp_path / "practice.html", cohort(count))
    assert printed(open_page(path)) == [SIZES["a4"]] * pages
    assert f"page 1 of {pages}: group 1" in Page(path).words


def test_every_cohort_starts_on_a_page_of_its_own(tmp_path, open_page):
    path = written(
        tmp_path / "practice.html", cohort(12), cohort(3, name="Herons", code="HE-%02d"), cohort(8, name="Curlews", code="CU-%02d")
    )
    assert len(printed(open_page(path))) == 3


def test_it_opens_without_a_complaint_and_is_black_on_white(tmp_path, open_page):
    for scheme in ("light", "dark"):
        page = open_page(written(tmp_path / "practice.html", cohort(12)), color_scheme=scheme)
        assert page.complaints == []
        colours = page.evaluate(
            "[...new Set([...document.querySelectorAll('body, body *')].flatMap(e => { const s = getComputedStyle(e); "
            "return [s.color, s.backgroundColor, s.borderTopColor]; }))].sort()"
        )
        assert set(colours) <= {"rgb(0, 0, 0)", "rgb(255, 255, 255)", "rgba(0, 0, 0, 0)"}


def test_the_type_is_large_on_paper(tmp_path, open_page):
    """At least 11.5 points for what is said to children, 14 for their codes; 96 dots are 72 points."""
    page = open_page(written(tmp_path / "practice.html", cohort(12)))
    page.emulate_media(media="print")
    size = "e => parseFloat(getComputedStyle(e).fontSize) * 72 / 96"
    assert min(one.evaluate(size) for one in page.locator(".cue").all()) >= 11.49
    assert page.locator(".code").first.evaluate(size) >= 14
    assert page.locator("input").first.bounding_box()["width"] * 25.4 / 96 >= 3.9, "boxes of 4 mm"


@pytest.mark.parametrize("width", [320, 390, 820])
def test_nothing_sticks_out_on_a_phone(tmp_path, open_page, width):
    page = open_page(written(tmp_path / "practice.html", cohort(12), cohort(2, name="Herons", code="HE-%02d")), width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert (
        page.evaluate("Math.min(...[...document.querySelectorAll('.cue, .code')].map(e => parseFloat(getComputedStyle(e).fontSize)))") >= 16
    )
    boxes = page.locator("input").first.bounding_box()
    assert min(boxes["width"], boxes["height"]) >= 24, "WCAG 2.2, 2.5.8: targets of 24 pixels"


@pytest.mark.parametrize("width", [390, 1280])
def test_no_grave_fault(tmp_path, open_page, axe, width):  # noqa: F811
    page = open_page(written(tmp_path / "practice.html", cohort(12)), width=width, bypass_csp=True)
    assert [fault for fault in faults(axe, page) if fault[1] in GRAVE] == []


def test_it_says_who_leads_left_where_roster_and_clips_differ_and_what_matters_most(tmp_path):
    page = Page(written(tmp_path / "practice.html", cohort(4)))
    assert "Left-leaders: OT-04. Show them the mirror side." in page.words
    assert "roster R, clips L in 12 of 24 attempts" in page.words
    assert "Pain means stop." in page.words and "Neck: hands take the weight." in page.words


def test_nobody_is_asked_to_film_a_child_without_consent(tmp_path):
    name, line, focuses = cohort(4, doubtful=True)
    line = [replace(place, may_film=place.athlete != "OT-01") for place in line]
    page = Page(written(tmp_path / "practice.html", (name, line, focuses)))
    assert page.words.count("By eye: no filming consent") == 3 and page.words.count("-on again") == 9


def test_hostile_names_are_only_words(tmp_path, open_page):
    evil = "<script>alert(1)</script>&\" 'x"
    page = open_page(written(tmp_path / "practice.html", cohort(2, name=evil)))
    assert page.complaints == [] and page.locator("main script").count() == 0 and evil in page.locator("h2").first.inner_text()


def test_nobody_leaves_no_sheet(tmp_path):
    path = written(tmp_path / "practice.html", cohort(2))
    assert path.is_file() and not written(path).is_file()


def test_the_sites_own_sheet_and_focus(site, open_page):
    """The invented club: linked from the index, why on the athlete's page, the cue on all three."""
    index = open_page(site / "index.html")
    assert index.locator("a[href='practice.html']").count() >= 1
    certain = index.locator(".work li:has(.largest, .safety)").first
    cue = certain.locator(".largest .cue, .safety .cue").first.inner_text()
    athlete = certain.locator("a").first
    assert athlete.get_attribute("href").endswith("#focus")
    athlete.click()
    index.wait_for_load_state()
    assert cue in index.locator("#focus").inner_text()
