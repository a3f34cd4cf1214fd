"""The moving picture in Chromium: what is shown, the line over it and the place on the curve belong to one frame.

The clip's brightness tells the number of each frame, so what is really on the screen can be read off a screenshot.
"""

import time

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
LINK = "OT-01_2026-03-02_abcd0123_1"


@pytest.fixture(scope="module")
def played(clip, tmp_path_factory):  # noqa: F811
    """A site with one attempt that has a moving picture."""
    path, track = clip
    out = tmp_path_factory.mktemp("played")
    readings = [reading(), reading("knee_angle", line=("left_hip", "left_knee", "left_ankle"))]
    t = np.arange(FRAMES) / 25.0
    curves = [Curve(r.detail, Side.NONE, "deg", t, 170 + t, 165 + t, 175 + t) for r in readings]
    pictures = take_pictures(path, track, ATTEMPT, readings, link=LINK, folder=out / "data")
    with Store(out / "data" / "matside.sqlite") as store:
        result = AttemptResult(ATTEMPT, LINK, readings, curves, pictures)
        store.put(ClipResult("a.mp4", "abcd0123", "OT-01", "Otters", "2026-03-02", "measured", attempts=[result]))
        write_site(store, load_tolerances(), out, out / "data")
    return out / "athletes" / "OT-01.html"


def article(page):
    return page.locator("article.reading").first


def settled(page) -> int:
    """The frame the page says it shows, once the video has nothing left to seek."""
    page.wait_for_function("() => { const v = document.querySelector('video'); return v && v.readyState >= 2 && !v.seeking; }")
    page.wait_for_timeout(150)
    return int(article(page).get_attribute("data-frame"))


def frame_on_screen(page) -> float:
    """The number of the frame whose brightness is on the screen, away from the line."""
    shot = cv2.imdecode(np.frombuffer(page.locator("video").first.screenshot(), np.uint8), cv2.IMREAD_GRAYSCALE)
    return (float(np.median(shot[-25:, 5:25])) - 40) / 4


def shows(page, frame: float, *, patience_s: float = 10.0) -> bool:
    """The frame comes to be on the screen; on a busy machine a browser may paint it some time after it says it has it."""
    until = time.monotonic() + patience_s
    while abs(frame_on_screen(page) - frame) > 0.75:
        if time.monotonic() > until:
            return False
        page.wait_for_timeout(50)
    return True


def cursor_share(page) -> float:
    """Where the cursor stands between the ends of the curve's time axis."""
    return (
        article(page)
        .locator("svg.curve")
        .evaluate(
            """s => { const x = +s.querySelector('.cursor').getAttribute('transform').match(/[\\d.]+/)[0] / s.viewBox.baseVal.width;
               return (x - s.dataset.x0) / (s.dataset.x1 - s.dataset.x0); }"""
        )
    )


def press(page, name: str) -> None:
    article(page).get_by_role("button", name=name).click()


def test_nothing_is_loaded_before_it_is_asked_for(played, open_page):
    page = open_page(played)
    assert page.locator("video").count() == 0 and page.locator(".player").count() == 2
    assert page.complaints == []


def test_the_moment_read_is_the_frame_shown(played, open_page):
    page = open_page(played)
    press(page, "To the moment read")
    assert settled(page) == 20  # 0.8 s at 25 frames a second
    assert shows(page, 20)
    assert cursor_share(page) == pytest.approx(0.8 / 1.56, abs=0.01)
    assert page.complaints == []


def test_frame_by_frame_forwards_and_back(played, open_page):
    page = open_page(played)
    press(page, "To the moment read")
    settled(page)
    for button, expected in [
        ("One frame on", 21),
        ("One frame on", 22),
        ("One frame back", 21),
        ("One frame back", 20),
        ("One frame back", 19),
    ]:
        press(page, button)
        assert settled(page) == expected
        assert shows(page, expected)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.7, 1.0])
def test_dragging_on_the_curve_moves_the_video_there(played, open_page, share):
    page = open_page(played)
    press(page, "To the moment read")
    settled(page)
    plot = article(page).locator("svg.curve")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    x0, x1 = (float(plot.get_attribute(name)) for name in ("data-x0", "data-x1"))
    page.mouse.move(box["x"] + box["width"] * (x0 + 0.5 * (x1 - x0)), box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * (x0 + share * (x1 - x0)), box["y"] + 60, steps=4)
    page.mouse.up()
    frame = settled(page)
    assert frame == pytest.approx(share * (FRAMES - 1), abs=1)
    assert shows(page, frame)
    assert cursor_share(page) == pytest.approx(share, abs=1 / FRAMES)


def test_while_it_plays_line_curve_and_picture_stay_within_a_frame(played, open_page):
    page = open_page(played)
    press(page, "Speed")
    press(page, "Speed")
    press(page, "Play")
    page.wait_for_function("() => { const v = document.querySelector('video'); return v && !v.paused && v.currentTime > 0.1; }")
    apart = page.evaluate(
        """async () => { const v = document.querySelector('video'), a = document.querySelector('article.reading'), out = [];
        for (let i = 0; i < 12; i++) { await new Promise(done => v.requestVideoFrameCallback((_, m) => requestAnimationFrame(() => {
          out.push(Math.abs(m.mediaTime * 25 - +a.dataset.frame)); done(); }))); } return out; }"""
    )
    assert max(apart) <= 1.01
    assert page.evaluate("document.querySelector('video').playbackRate") == 0.25
    press(page, "Pause")
    frame = settled(page)
    assert frame_on_screen(page) == pytest.approx(frame, abs=1.75)


def test_the_line_follows_the_joints(played, open_page, clip):  # noqa: F811
    page = open_page(played)
    press(page, "To the moment read")
    at = []
    for button in ("One frame on", "One frame on"):
        press(page, button)
        settled(page)
        joints = article(page).locator("svg.over .joint")
        at.append([float(joints.nth(i).get_attribute("cx")) for i in range(3)])
    step = np.subtract(at[1], at[0])
    assert np.allclose(step, step[0], atol=0.11) and step[0] > 1  # 4 pixels a frame in the clip, shrunk


def test_the_keyboard_alone_can_step_through(played, open_page):
    page = open_page(played)
    button = article(page).get_by_role("button", name="One frame on")
    button.focus()
    page.keyboard.press("Enter")
    first = settled(page)
    page.keyboard.press("ArrowRight")
    assert settled(page) == first + 1
    article(page).locator("svg.curve").focus()
    page.keyboard.press("ArrowLeft")
    assert settled(page) == first
    assert article(page).get_by_role("slider").get_attribute("aria-valuetext").endswith(" s")


def test_with_scripts_off_the_page_is_whole_and_links_to_the_moving_picture(played, open_page):
    page = open_page(played, java_script_enabled=False)
    assert page.locator("button").count() == 0
    assert page.locator("svg.curve").count() == 2 and page.locator(".frame img").count() == 2
    link = page.get_by_role("link", name="The attempt, moving")
    assert (played.parent / link.get_attribute("href")).is_file()


def test_only_the_pages_own_script_runs(played, open_page):
    page = open_page(played)
    page.evaluate("() => { const s = document.createElement('script'); s.textContent = 'window.evil = 1'; document.body.append(s); }")
    assert page.evaluate("window.evil") is None
    assert any("Content Security Policy" in complaint for complaint in page.complaints)
