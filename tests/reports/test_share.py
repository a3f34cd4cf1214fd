"""One athlete's page as a single file: complete by itself, and nobody else in it."""

import re

import pytest

from pipeline.errors import MatsideError
from pipeline.reports.share import share_athlete
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store
from tests.reports import invented
from tests.reports.test_player import LINK, clip, played  # noqa: F401
from tests.reports.test_site import Page


@pytest.fixture(scope="module")
def shared(site, tmp_path_factory):
    path = tmp_path_factory.mktemp("shared") / "OT-01.html"
    with Store(site / "data" / "matside.sqlite") as store:
        return share_athlete(store, load_tolerances(), "OT-01", path, site / "data", title="Saltmarsh Tumbling Club")


def test_it_needs_nothing_beside_it(shared):
    page = Page(shared)
    assert all(link.startswith(("#", "data:image/jpeg;base64,")) for link in page.links)
    assert sum(tag == "img" for tag, _ in page.elements) > 20
    assert all(link[1:] in page.ids for link in page.links if link.startswith("#"))


def test_nobody_else_is_in_it(site, shared):
    text = shared.read_text(encoding="utf-8")
    words = re.sub(r"base64,[A-Za-z0-9+/=]+", "", text)
    for i in range(1, 6):
        assert invented.code(i) not in words
    assert not any(cohort in words for cohort in invented.COHORTS) and ".mp4" not in words and "week/" not in words
    with Store(site / "data" / "matside.sqlite") as store:
        assert sum(tag == "article" for tag, _ in Page(shared).elements) == len(store.readings("OT-01"))


def test_only_what_was_filmed_since_a_day(site, tmp_path):
    with Store(site / "data" / "matside.sqlite") as store:
        path = share_athlete(store, load_tolerances(), "OT-01", tmp_path / "x.html", site / "data", since="2026-03-16")
    words = Page(path).words
    assert "16 March 2026" in words and "2 March 2026" not in words.replace("16 March 2026", "")


def test_it_begins_with_what_the_coachs_page_says_to_work_on(site, shared):
    def cues(path):
        section = re.search(r'<section class="focus".*?</section>', path.read_text("utf-8"), re.S)[0]
        return re.findall(r'<div class="(pinned|safety|largest|met)[^>]*><dt>(.*?)</dt>\s*<dd><p class="cue">(.*?)[<\n]', section), section

    (hers, section), (coachs, _) = cues(shared), cues(site / "athletes" / "OT-01.html")
    assert hers == coachs and len(hers) >= 2
    assert "not for practice at home" in section and "Cannot tell" not in section and "set aside" not in section
    assert "not for practice at home" not in (site / "athletes" / "OT-01.html").read_text("utf-8")


def test_no_focus_rests_on_readings_that_are_not_shared(site, tmp_path):
    with Store(site / "data" / "matside.sqlite") as store:
        path = share_athlete(store, load_tolerances(), "OT-01", tmp_path / "x.html", site / "data", since="2026-03-16")
    page = Page(path)
    assert all(link[1:] in page.ids for link in page.links if link.startswith("#"))
    section = re.search(r'<section class="focus".*?</section>', path.read_text("utf-8"), re.S)
    assert section is None or not re.search(r"\b(2|9) March 2026", section[0])


def test_only_her_own_earlier_page_is_written_over(site, shared, tmp_path):
    with Store(site / "data" / "matside.sqlite") as store:

        def share(code, path):
            return share_athlete(store, load_tolerances(), code, path, site / "data")

        other = next(code for code in store.athletes()["athlete"] if code not in ("", "OT-01"))
        (tmp_path / "OT-01.html").write_bytes(shared.read_bytes())
        share("OT-01", tmp_path / "OT-01.html")
        for name in ("index.html", "athletes/OT-01.html", "weeks/2026-W11.html"):  # the club's own pages
            path = tmp_path / name.replace("/", "_")
            before = (site / name).read_bytes() if (site / name).is_file() else (site / "index.html").read_bytes()
            path.write_bytes(before)
            with pytest.raises(MatsideError, match="another file is there"):
                share("OT-01", path)
            assert path.read_bytes() == before
        before = (tmp_path / "OT-01.html").read_bytes()
        with pytest.raises(MatsideError, match=f"the family of {other}, but another file is there"):
            share(other, tmp_path / "OT-01.html")
        assert (tmp_path / "OT-01.html").read_bytes() == before
        for path in (tmp_path / f"{'x' * 300}.html", tmp_path / "OT-01.html" / "x.html", tmp_path):
            with pytest.raises(MatsideError, match=r"cannot be written|another file"):
                share("OT-01", path)


def test_nothing_to_share_is_one_line(site, tmp_path):
    with Store(site / "data" / "matside.sqlite") as store:
        for athlete, since in (("OT-99", ""), ("OT-01", "2030-01-01"), ("", "")):
            with pytest.raises(MatsideError, match="expected an athlete with attempts"):
                share_athlete(store, load_tolerances(), athlete, tmp_path / "x.html", site / "data", since=since)
    assert not (tmp_path / "x.html").exists()


@pytest.mark.chromium
def test_it_plays_by_itself_from_any_folder(played, tmp_path, open_page):  # noqa: F811
    with Store(played.parents[1] / "data" / "matside.sqlite") as store:
        path = share_athlete(store, load_tolerances(), "OT-01", tmp_path / "alone" / "x.html", played.parents[1] / "data")
    page = open_page(path)
    page.get_by_role("button", name="To the moment read").first.click()
    page.wait_for_function("() => { const v = document.querySelector('video'); return v && v.readyState >= 2 && !v.seeking; }")
    assert page.locator("article.reading").first.get_attribute("data-frame") == "20"
    assert page.complaints == []
