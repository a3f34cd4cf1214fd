"""The best attempt's picture and moving picture beside the attempt looked at, at the same phase, in Chromium.

Both clips' brightness tells the number of each frame, so what is really on the screen can be read off a screenshot.
"""

import time
from dataclasses import replace

import cv2
import numpy as np
import pytest

from pipeline.measures.reading import Curve
from pipeline.reports.pictures import take_pictures
from pipeline.reports.site import write_site
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import AttemptResult, ClipResult, Store
from pipeline.vocabulary import Side
from tests.reports.test_pictures import ATTEMPT, FRAMES, clip, reading  # noqa: F401

pytestmark = pytest.mark.chromium
BEST, OTHER = "OT-01_2026-03-02_abcd0123_1", "OT-01_2026-03-09_dcba3210_1"


@pytest.fixture(scope="module")
def beside(clip, tmp_path_factory):  # noqa: F811
    """Two attempts: the better one's hold lasts 0.24 s from 0.4 s on, the other's 0.4 s from 0.6 s on."""
    path, track = clip
    out = tmp_path_factory.mktemp("beside")
    t = np.arange(FRAMES) / 25.0
    with Store(out / "data" / "matside.sqlite") as store:
        for link, attempt, read in (
            (BEST, replace(ATTEMPT, key_start_s=0.4, key_end_s=0.64), reading(at=0.56, value=179.0)),
            (OTHER, ATTEMPT, reading(value=160.0)),
        ):
            curve = Curve("hip_angle", Side.NONE, "deg", t, 170 + t, 165 + t, 175 + t)
            pictures = take_pictures(path, track, attempt, [read], link=link, folder=out / "data")
            day, content = link.split("_")[1:3]
            result = AttemptResult(attempt, link, [read], [curve], pictures)
            store.put(ClipResult(f"{day}.mp4", content, "OT-01", "Otters", day, "measured", attempts=[result]))
        write_site(store, load_tolerances(), out, out / "data")
    return out / "athletes" / "OT-01.html"


def article(page):
    return page.locator(f"#{OTHER}-hip_angle")


def frames(page) -> tuple[int, int]:
    """The frames that the page says it shows, the attempt's and the best one's, once neither video has anything left to seek."""
    page.wait_for_function(
        "() => { const all = [...document.querySelectorAll('video')]; return all.length === 2 && all.every(v => v.readyState >= 2 && !v.seeking); }"
    )
    page.wait_for_timeout(200)
    return tuple(int(article(page).locator(one).get_attribute("data-frame")) for one in (".frame:not(.mate)", ".frame.mate"))


def on_screen(page, which: int) -> float:
    shot = cv2.imdecode(np.frombuffer(page.locator("video").nth(which).screenshot(), np.uint8), cv2.IMREAD_GRAYSCALE)
    return (float(np.median(shot[-25:, 5:25])) - 40) / 4


def shows(page, which: int, frame: int) -> bool:
    until = time.monotonic() + 10
    while abs(on_screen(page, which) - frame) > 0.75:
        if time.monotonic() > until:
            return False
        page.wait_for_timeout(50)
    return True


def test_without_scripts_both_pictures_stand_side_by_side(beside, open_page):
    page = open_page(beside, java_script_enabled=False)
    images = article(page).locator(".frame img")
    one, other = (images.nth(i).bounding_box() for i in (0, 1))
    assert images.count() == 2 and one["y"] == other["y"] and one["x"] + one["width"] <= other["x"]
    assert "179°" in article(page).locator(".shot").nth(1).inner_text() or "179°" in article(page).locator(".mate text").first.inner_text()
    assert page.locator(f"#{BEST}-hip_angle .frame").count() == 1, "the best has nothing beside it"


def test_the_moment_read_is_each_ones_own(beside, open_page):
    page = open_page(beside)
    article(page).get_by_role("button", name="To the moment read").click()
    assert frames(page) == (20, 14)  # 0.8 s and 0.56 s at 25 frames a second
    assert shows(page, 0, 20) and shows(page, 1, 14)
    assert page.complaints == []


@pytest.mark.parametrize(
    ("share", "own", "other"), [(0.0, 0, 0), (15 / 39, 15, 10), (20 / 39, 20, 13), (25 / 39, 25, 16), (35 / 39, 35, 26)]
)
def test_drawn_along_the_curve_both_show_the_same_phase(beside, open_page, share, own, other):
    """By hand: before the hold 0.2 s earlier (not before the clip begins), within it 0.24 for 0.4, after it 0.36 s earlier."""
    page = open_page(beside)
    plot = article(page).locator("svg.curve").first
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    x0, x1 = (float(plot.get_attribute(name)) for name in ("data-x0", "data-x1"))
    page.mouse.move(box["x"] + box["width"] * (x0 + share * (x1 - x0)) + 0.4, box["y"] + 60)
    page.mouse.down()
    page.mouse.up()
    got = frames(page)
    assert got[0] == pytest.approx(own, abs=1) and got[1] == pytest.approx(other, abs=1)
    assert shows(page, 0, got[0]) and shows(page, 1, got[1])


def test_while_it_plays_the_best_keeps_step(beside, open_page):
    page = open_page(beside)
    for name in ("Speed", "Speed", "Play"):
        article(page).get_by_role("button", name=name).click()
    page.wait_for_function("() => { const v = document.querySelector('video'); return v && !v.paused && v.currentTime > 0.5; }")
    apart = page.evaluate(
        """async () => { const [v, m] = document.querySelectorAll('video'), out = [];
        const phase = t => t < 0.6 ? t - 0.2 : t < 1 ? 0.4 + (t - 0.6) * 0.6 : t - 0.36;
        for (let i = 0; i < 10; i++) { await new Promise(done => v.requestVideoFrameCallback(done)); out.push(Math.abs(phase(v.currentTime) - m.currentTime)); }
        return out; }"""
    )
    assert np.median(apart) < 0.08 and max(apart) < 0.25, "two frames, and never far off"
    article(page).get_by_role("button", name="Pause").click()
    own, other = frames(page)
    phase = own / 25 - 0.2 if own < 15 else 0.4 + (own / 25 - 0.6) * 0.6 if own < 25 else own / 25 - 0.36
    assert other == pytest.approx(phase * 25, abs=1.5)
    assert page.locator("video").nth(1).evaluate("v => v.paused")
