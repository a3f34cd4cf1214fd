"""The pages in a real browser, opened from the disk as a coach opens them."""

import cv2
import numpy as np
import pytest

from tests.reports import invented

pytestmark = pytest.mark.chromium
PAGES = ("index.html", "weeks/2026-W10.html", "weeks/undated.html", "athletes/OT-01.html")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_opens_without_a_complaint_and_asks_for_nothing_outside(site, open_page, name, scheme):
    page = open_page(site / name, color_scheme=scheme)
    page.wait_for_load_state("load")
    assert page.complaints == []
    assert page.evaluate("getComputedStyle(document.body).maxWidth") != "none", "the style sheet passed the page's own policy"


@pytest.mark.parametrize("width", [320, 390, 820, 1280, 1920])
@pytest.mark.parametrize("name", PAGES)
def test_nothing_sticks_out_sideways_at_any_width(site, open_page, name, width):
    page = open_page(site / name, width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_pictures_load_only_when_looked_at(site, open_page):
    page = open_page(site / "athletes" / "OT-01.html")
    page.wait_for_load_state("load")
    images = page.locator("img")
    assert images.count() > 20
    assert not images.last.evaluate("e => e.complete && e.naturalWidth > 0")
    page.get_by_role("button", name="Open all").click()
    for _ in range(3):  # what lies above gets its true height only as it comes near
        images.last.scroll_into_view_if_needed()
        page.wait_for_timeout(200)
    page.wait_for_function("e => e.complete && e.naturalWidth > 0", arg=images.last.element_handle())


def test_the_line_lies_on_the_picture_at_every_width(site, open_page):
    """The overlay covers its picture exactly, so a joint drawn at (x, y) is seen at that share of the picture."""
    for width in (390, 1280):
        page = open_page(site / "athletes" / "OT-01.html", width=width)
        page.get_by_role("button", name="Open all").click()
        frame = page.locator("article .frame:has(svg)").first
        frame.scroll_into_view_if_needed()
        boxes = [frame.locator(part).bounding_box() for part in ("img", "svg")]
        assert all(abs(boxes[0][key] - boxes[1][key]) < 1 for key in boxes[0])
        assert boxes[0]["width"] / boxes[0]["height"] == pytest.approx(invented.SIZE[0] / invented.SIZE[1], rel=0.01)


def test_readings_are_folded_to_word_and_number_and_open_alone_or_all_together(site, open_page):
    page = open_page(site / "athletes" / "OT-01.html")
    folds = page.locator("article > details.fold")
    assert folds.count() > 10 and page.locator("article > details.fold[open]").count() == 1, "one shows what is behind them"
    closed = page.locator("article:not(.further article):has(> details:not([open]))").first
    closed = page.locator(f"[id='{closed.get_attribute('id')}']")
    assert closed.locator("summary .verdict").first.is_visible() and not closed.locator(".body").is_visible()
    closed.locator("h3").click()
    assert closed.locator(".body").is_visible()
    page.get_by_role("button", name="Open all").click()
    assert page.locator("article > details.fold:not([open])").count() == 0
    page.get_by_role("button", name="Close all").click()
    assert page.locator("article > details.fold[open]").count() == 0


def test_the_first_screen_shows_what_to_work_on_with_frame_line_number_and_interval(site, open_page):
    page = open_page(site / "athletes" / "OT-01.html", width=1280)
    focus = page.locator(".focus div.seen:has(svg.over .bone)").first
    box = focus.locator("img").bounding_box()
    assert box["y"] + box["height"] < 900
    assert "±" in focus.locator("p").nth(1).inner_text()


def test_a_mark_leads_to_its_reading(site, open_page):
    page = open_page(site / "index.html")
    chip = page.locator("a.chip:visible").last
    target = chip.get_attribute("href").split("#")[1]
    chip.click()
    page.wait_for_load_state()
    assert page.url.endswith(target)
    page.wait_for_timeout(300)
    assert page.locator(f"[id='{target}'] .body").is_visible()
    assert -5 <= page.locator(f"[id='{target}']").bounding_box()["y"] < 450


def test_the_keyboard_alone_reaches_the_content_and_shows_where_it_is(site, open_page):
    page = open_page(site / "index.html")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    focused = page.evaluate("({name: document.activeElement.tagName, inside: document.activeElement.closest('main') !== null})")
    assert focused["inside"]
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"


def test_words_can_be_read_against_their_ground(site, open_page):
    """WCAG 2.2, 1.4.3: at least 4.5 to 1 for text, light and dark; relative luminance as WCAG defines it."""
    script = """() => {
      const lum = c => { const v = c.map(x => x / 255).map(x => x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4);
        return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };
      const read = s => { const m = s.match(/[\\d.]+/g).map(Number); return m.length < 4 || m[3] > 0.99 ? m.slice(0, 3) : null; };
      const ground = e => { for (; e; e = e.parentElement) { const c = read(getComputedStyle(e).backgroundColor); if (c) return c; } return [255, 255, 255]; };
      const out = [];
      for (const e of document.querySelectorAll('main *, header *, footer *')) {
        if (![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) || e.closest('svg')) continue;
        const a = lum(read(getComputedStyle(e).color)), b = lum(ground(e));
        const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        if (ratio < 4.5) out.push([e.className, e.textContent.slice(0, 30), ratio]);
      }
      return out; }"""
    for scheme in ("light", "dark"):
        for name in ("index.html", "athletes/OT-01.html"):
            assert open_page(site / name, color_scheme=scheme).evaluate(script) == []


def test_print_cuts_no_plot_and_no_picture(site, open_page):
    page = open_page(site / "athletes" / "OT-01.html")
    page.emulate_media(media="print")
    broken = page.evaluate(
        "[...document.querySelectorAll('.reading, figure, tr')].filter(e => !getComputedStyle(e).breakInside.startsWith('avoid')).length"
    )
    assert broken == 0
    assert page.pdf(format="A4")[:5] == b"%PDF-"
    page_height, margin = 1123, 53  # A4 at 96 dots an inch; 14 mm
    assert page.evaluate("Math.max(...[...document.querySelectorAll('.reading')].map(e => e.offsetHeight))") < page_height - 2 * margin


def test_the_table_keeps_its_roles_when_it_is_shown_as_cards(site, open_page):
    page = open_page(site / "index.html", width=390)
    assert page.get_by_role("table").count() == 1
    assert page.get_by_role("rowheader").count() >= 6
    assert page.get_by_role("cell").count() > 20


def test_the_name_of_a_detail_keeps_its_distance_from_the_marks_on_a_phone(site, open_page):
    page = open_page(site / "index.html", width=390)
    gaps = page.eval_on_selector_all(
        ".grid td:not(.none)",
        "all => all.filter(one => one.offsetParent).map(one => parseFloat(getComputedStyle(one).columnGap) || 0)",
    )
    assert gaps and min(gaps) >= 8


def test_a_mark_without_a_number_stands_on_a_line_of_its_own_beside_others(site, open_page):
    """Or it would seem to belong to the number beside it."""
    page = open_page(site / "index.html", width=1280)
    shared = page.evaluate("""() => {
        const marks = document.querySelector('.grid .marks:has(.num)')
        const bare = marks.querySelector('.chip').cloneNode(true)
        bare.querySelector('.num').remove()
        marks.style.width = '30rem'
        marks.prepend(bare)
        const [first, second] = [...marks.querySelectorAll('.chip')].map(one => one.getBoundingClientRect())
        return first.bottom > second.top + 2
    }""")
    assert not shared


def test_a_table_that_goes_on_to_the_right_shows_it_until_its_end(site, open_page):
    page = open_page(site / "index.html", width=820)

    def edge() -> int:
        """How dark the table's ground is at its right edge, above the first line of words."""
        box = page.locator(".scroll").first.bounding_box()
        clip = {"x": box["x"] + box["width"] - 4, "y": box["y"] + 3, "width": 2, "height": 2}
        pixels = cv2.imdecode(np.frombuffer(page.screenshot(clip=clip), np.uint8), cv2.IMREAD_COLOR)
        return int(255 - pixels.mean())

    page.locator(".scroll").first.scroll_into_view_if_needed()
    assert page.evaluate("(() => { const s = document.querySelector('.scroll'); return s.scrollWidth - s.clientWidth })()") > 50
    before = edge()
    page.evaluate("document.querySelector('.scroll').scrollLeft = 9999")
    assert before > 15 > edge()
