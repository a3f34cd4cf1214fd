"""Trend and cohort pages of the demo season: what they say, what lies beside them, how they open in a browser."""

import csv
import re
from datetime import date

import numpy as np
import pandas as pd
import pytest

from pipeline.batch.pages import write_pages
from pipeline.batch.tell import athlete_lines
from pipeline.errors import MatsideError
from pipeline.reports.cohort_page import write_cohorts
from pipeline.reports.language import translations
from pipeline.reports.trend_page import csv_text, write_athlete, write_athletes
from pipeline.reports.trend_plots import days
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store
from pipeline.trends.filters import Filters
from pipeline.trends.notes import add_note, remove_note
from pipeline.trends.season import write_season
from pipeline.vocabulary import Setting, Skill
from tests.reports import invented

CODES = ("OT-02", "OT-03")


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """(store, out) with the trend pages of two athletes and the cohort page."""
    out = tmp_path_factory.mktemp("season")
    with Store(out / "data" / "matside.sqlite") as store:
        write_season(store)
        write_cohorts(store, load_tolerances(), out)
        write_athletes(store, load_tolerances(), out, codes=CODES, front=True)
        yield store, out


def text(out, name):
    return (out / name).read_text("utf-8")


def rows(out, name):
    with (out / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


PAGES = ("index.html", "trends/index.html", "trends/OT-02.html", "trends/OT-03.html", "cohorts/index.html")


@pytest.mark.parametrize("name", PAGES)
def test_every_page_says_that_the_readings_are_invented(season, name):
    assert "Invented readings: no child was filmed." in text(season[1], name)


def test_no_knee_is_more_than_straight(season, tmp_path):
    write_athletes(season[0], load_tolerances(), tmp_path, codes=("HE-02", "HE-07"))
    tables = [rows(season[1], "cohorts/means.csv"), rows(season[1], "cohorts/dots.csv")]
    tables += [rows(tmp_path, f"trends/{code}.csv") for code in ("HE-02", "HE-07")]
    for table in tables:
        assert max(float(row["high"]) for row in table if row["detail"] == "knee_angle" and row["high"]) == 180
    page = text(season[1], "cohorts/index.html")
    plots = re.findall(r'aria-label="((?:Straight legs|Back knee)[^"]*)">(.*?)</svg>', page, re.S)
    assert len(plots) == 6
    for label, drawn in plots:
        ends = re.findall(r"(\d+)\D(\d+)°\)", label)
        ticks = re.findall(r">(\d+)°</text>", drawn)
        assert len(ends) == 3 and ticks and max(int(one) for one in [*ticks, *sum(ends, ())]) <= 180


def test_no_athlete_is_named_on_the_cohort_page_or_in_its_tables(season):
    codes = season[0].athletes()["athlete"]
    folder = season[1] / "cohorts"
    assert len(list(folder.glob("*.csv"))) == 9
    for file in folder.iterdir():
        assert not [c for c in codes if c in file.read_text("utf-8")], file.name


@pytest.mark.parametrize("name", ["trends/OT-02.html", "cohorts/index.html"])
def test_what_is_not_sure_is_folded_to_its_figures(season, name):
    page = text(season[1], name)
    sections = re.findall(r'<section class="detail".*?</section>', page, re.S)
    opened = [one for one in sections if '<details class="fold" open>' in one]
    assert len(sections) > 10 and 1 <= len(opened) < len(sections) / 2
    for section in sections:
        gist = re.search(r'<span class="gist">(.*?)</summary>', section, re.S)[1]
        assert gist.count("<span>") >= 1 and re.search(r"\d", gist), gist
    if name.startswith("trends"):
        sure = re.findall(r'<li><a href="#([^"]+)">', page.split("What has changed")[1].split("</ul>")[0])
        assert sure and all(any(f'id="{anchor}"' in one for one in opened) for anchor in sure)
        folded = [one for one in sections if one not in opened]
        assert all(re.search(r"→ .* \(up to .* is chance\)", one) for one in folded if "too few to know" not in one)


def test_no_level_stands_without_its_range(season):
    for code in CODES:
        levels = re.findall(r"<dt>(?:start → now|now)</dt><dd>(.*?)</dd>", text(season[1], f"trends/{code}.html"))
        assert len(levels) > 10
        for one in levels:
            assert all(re.fullmatch(r"\S+?( ± \S+| \(.+\))", level.replace("\u202f", "")) for level in one.split(" → ")), one


def test_one_session_is_folded_to_a_level_with_its_range(season, tmp_path):
    newest = str(season[0].readings("OT-02")["date"].max())
    write_athlete(season[0], load_tolerances(), tmp_path, "OT-02", filters=Filters(since=date.fromisoformat(newest)))
    gists = re.findall(r'<span class="gist">(.*?)</summary>', text(tmp_path, "trends/OT-02.html"), re.S)
    assert gists and all(one.count("±") + one.count("(") >= one.count("<span>") > 0 for one in gists), gists


def test_the_lines_of_text_come_in_the_order_of_the_page(season):
    lines = list(athlete_lines(season[0], load_tolerances(), "OT-03"))[1:]
    unsure = [line for line in lines if "No change we can be sure of" in line]
    assert lines[-len(unsure) :] == unsure and 0 < len(unsure) < len(lines), "sure changes first"
    titles = [re.sub("<.*?>", "", h) for h in re.findall(r'<h2 id="[^"]*-h">(.*?)</h2>', text(season[1], "trends/OT-03.html"))]
    said = [re.match(r"  (.*?)( left| right)? \(", line)[1].lower() for line in unsure]
    places = [next(i for i, title in enumerate(titles) if title.split(",")[0].lower() == one) for one in said]
    assert places == sorted(places) and len(set(places)) > 5


def test_a_page_written_by_itself_still_leads_to_those_beside_it(season, tmp_path):
    store = season[0]
    write_athletes(store, load_tolerances(), tmp_path, codes=("OT-02", "OT-03"))
    write_athlete(store, load_tolerances(), tmp_path, "OT-03")
    assert re.findall(r'<a rel="(\w+)" href="(.*?)"', text(tmp_path, "trends/OT-03.html")) == [("prev", "OT-02.html")]


def test_small_cohorts_are_warned_of_at_the_top(season, tmp_path):
    store, out = season
    assert "Too few athletes to compare" not in text(out, "cohorts/index.html")
    hidden = dict.fromkeys([code for code in store.athletes()["athlete"] if code.startswith("HE")][2:], "2026-01-01")
    with store.without(hidden):
        page = write_cohorts(store, load_tolerances(), tmp_path).read_text("utf-8")
    assert "Too few athletes to compare: Herons (" in page.split("<main")[0]


def test_names_show_only_when_asked_for_and_then_in_the_order_of_codes(season, tmp_path):
    page = write_cohorts(
        season[0], load_tolerances(), tmp_path, names=True, filters=Filters(skill=Skill.CARTWHEEL, setting=Setting.ALONE)
    ).read_text("utf-8")
    first = re.search(r"<svg class=\"curve dots\".*?</svg>", page, re.S).group()
    cohorts = [re.findall(r"<title>(..-\d\d)</title>", part) for part in first.split("cohort-name")[1:]]
    assert [len(c) for c in cohorts] == [8, 9, 9] and all(c == sorted(c) for c in cohorts)


def test_every_point_drawn_is_in_the_csv_beside_the_page(season):
    store, out = season
    table = rows(out, "trends/OT-02.csv")
    page = text(out, "trends/OT-02.html")
    assert len([r for r in table if r["what"] == "session"]) == page.count('class="session"') - 2  # two explain the plot
    attempts = store.readings("OT-02")["value"].notna().sum()
    assert len([r for r in table if r["what"] == "attempt"]) == attempts
    assert 'href="OT-02.csv"' in page


def test_every_dot_of_the_cohorts_is_in_their_csv(season):
    out = season[1]
    assert len(rows(out, "cohorts/dots.csv")) == text(out, "cohorts/index.html").count('class="athlete"') - 1  # one explains the plot


def test_the_drill_that_was_built_in_is_found_and_said_with_care(season):
    page = text(season[1], "cohorts/index.html")
    assert re.search(r"Wall slides for flat hips, Otters since 12 October 2026: Shoulder stand, Flat hips, alone, changed by \+1\d°", page)
    assert "it does not prove that the drill did it" in page


def test_a_drill_without_a_sure_effect_is_told_too(season, tmp_path):
    store = season[0]
    drills = (("2026-10-05", "Balance beam walks"), (str(store.latest_date()), "Begun today"))
    for day, words in drills:
        add_note(store, "Curlews", day, words, kind="drill")
    page = write_cohorts(store, load_tolerances(), tmp_path).read_text("utf-8")
    for day, words in drills:
        remove_note(store, "Curlews", day, words)
    assert "Balance beam walks, Curlews since 5 October 2026: nothing we can be sure of changed more" in page
    assert re.search(r"Begun today, Curlews since [^:]*: too few athletes with sessions before and after", page)


def test_the_difference_that_was_built_in_is_said(season):
    assert re.search(
        r"Cartwheel, Straight legs, (left|right), alone: Herons straighter than (Otters|Curlews)", text(season[1], "cohorts/index.html")
    )


def test_no_difference_is_called_none_whose_range_leaves_0_out(season):
    page = text(season[1], "cohorts/index.html")
    pair = r"[+−]?[\d.]+\S*? \(([+−]?)([\d.]+)\S* … ([+−]?)([\d.]+)\S*?\)"
    for words, leaves_0_out in (("No difference we can be sure of:", False), ("among so many comparisons it may be chance:", True)):
        ranges = [found for line in re.findall(rf"{words}(.*?)</", page) for found in re.findall(pair, line)]
        assert ranges, words
        for one, low, other, high in ranges:
            assert ((one == other) and 0 not in (float(low), float(high))) is leaves_0_out or 0 in (float(low), float(high))


def test_what_cannot_be_below_0_has_no_range_below_it(season):
    rows_of_time = re.findall(
        r'Knees on the floor</span></h2>\s*<span class="gist">(.*?)</summary>', text(season[1], "cohorts/index.html"), re.S
    )
    assert rows_of_time and all("−" not in one for one in rows_of_time), rows_of_time


def test_a_break_leaves_the_line_broken_and_its_note_beside_it(season):
    page = text(season[1], "trends/OT-03.html")
    assert "Away with a sore wrist for four weeks (OT-03)" in page
    first = re.search(r"<svg class=\"curve trend\".*?</svg>", page, re.S).group()
    assert first.count('class="joined"') == 2


def test_too_few_athletes_are_dots_without_a_comparison(season, tmp_path):
    page = write_cohorts(season[0], load_tolerances(), tmp_path, filters=Filters(lead_side="left")).read_text("utf-8")
    assert "Too few to compare: Curlews, Herons, Otters (fewer than 5 athletes)." in page
    assert '<span class="gist"><span>too few to compare</span></span>' in page
    assert 'class="athlete"' in page and 'class="mean"' not in page.split("</ul>", 3)[-1]


def test_a_code_without_readings_is_told_which_codes_there_are(season, tmp_path):
    with pytest.raises(MatsideError, match=r"OT-99: no readings.*CU-01.*Check the spelling"):
        write_athlete(season[0], load_tolerances(), tmp_path, "OT-99")


def test_a_period_without_readings_is_said(season, tmp_path):
    with pytest.raises(MatsideError, match="no readings with a cohort from 2030"):
        write_cohorts(season[0], load_tolerances(), tmp_path, filters=Filters(since=date(2030, 1, 1), until=date(2030, 2, 1)))


def test_words_from_outside_are_escaped(tmp_path):
    with Store(tmp_path / "data" / "matside.sqlite") as store:
        club = write_season(store)
        store.add_note(club.truth.athlete[0], "2026-10-10", "other", "<script>alert(1)</script>")
        page = write_athlete(store, load_tolerances(), tmp_path, club.truth.athlete[0]).read_text("utf-8")
    assert "<script>alert" not in page and "&lt;script&gt;" in page


def test_a_cell_that_would_be_a_formula_is_not():
    assert csv_text(pd.DataFrame({"a": ["=1+1", "fine"], "b": [1.0, np.nan]})) == "a,b\n'=1+1,1.0000\nfine,\n"


def test_dates_along_a_plot():
    tr = translations()
    day = float(np.datetime64("2026-03-02", "D").astype(int))
    assert [words for _, words in days(day, day + 28, tr)] == ["2 Mar", "9 Mar", "16 Mar", "23 Mar", "30 Mar"]
    assert [words for _, words in days(day, day + 100, tr)] == ["Apr", "May", "Jun"]
    years = [words for _, words in days(day, day + 5 * 365, tr)]
    assert 3 <= len(years) <= 12 and "Jan 2027" in years


@pytest.mark.chromium
@pytest.mark.parametrize("width", [320, 390, 1280])
@pytest.mark.parametrize("name", PAGES[1:])
def test_pages_open_without_a_complaint_and_nothing_sticks_out(season, open_page, name, width):
    page = open_page(season[1] / name, width=width)
    page.wait_for_load_state("networkidle")
    assert page.complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("getComputedStyle(document.body).maxWidth") != "none", "the style sheet passed the page's own policy"


@pytest.mark.chromium
@pytest.mark.parametrize("width", [1180, 1280])
def test_a_table_in_a_card_is_not_cut_off_on_a_wide_screen(season, open_page, width):
    page = open_page(season[1] / "cohorts/index.html", width=width)
    over = page.eval_on_selector_all(".term .scroll", "all => all.map(one => one.scrollWidth - one.clientWidth)")
    assert over == [0, 0, 0]


@pytest.mark.chromium
def test_what_has_changed_takes_the_whole_width_of_a_phone(season, open_page):
    page = open_page(season[1] / "trends/index.html", width=390)
    words = "all => all.map(one => [getComputedStyle(one).display, getComputedStyle(one, '::before').content])"
    assert {(display, before) for display, before in page.eval_on_selector_all(".told td", words)} == {("block", "none")}


@pytest.mark.chromium
@pytest.mark.parametrize("name", ["trends/OT-02.html", "cohorts/index.html"])
def test_the_mark_that_unfolds_stands_before_its_heading_on_a_phone(season, open_page, name):
    page = open_page(season[1] / name, width=390)
    lines = page.eval_on_selector_all(
        ".detail .fold > summary",
        "all => all.map(one => one.querySelector('h2').getBoundingClientRect().top - one.getBoundingClientRect().top)",
    )
    assert lines and max(lines) < 16, "a line lower than the mark"


def test_the_style_sheet_reaches_the_page_unescaped(season):
    style = re.search(r"<style>(.*?)</style>", text(season[1], "cohorts/index.html"), re.S).group(1)
    assert "&gt;" not in style and ".term>div" in style


def test_every_page_of_a_whole_output_folder_leads_somewhere(tmp_path):
    """Weeks, athletes, trends and cohorts as a run writes them: each link ends at a file, each anchor at its place."""
    with Store(tmp_path / "data" / "matside.sqlite") as store:
        invented.fill(store, tmp_path / "data", athletes=4, weeks=2, pictures=False)
        write_pages(store, load_tolerances(), tmp_path)
    pages = {path: path.read_text("utf-8") for path in tmp_path.rglob("*.html")}
    assert {p.parent.name for p in pages} == {tmp_path.name, "weeks", "athletes", "trends", "cohorts"}
    for path, words in pages.items():
        for href in re.findall(r'href="([^"]+)"', words):
            file, _, anchor = href.partition("#")
            target = (path.parent / file).resolve() if file else path
            assert target.is_file(), f"{path.relative_to(tmp_path)} → {href}"
            assert not anchor or f'id="{anchor}"' in target.read_text("utf-8"), f"{path.relative_to(tmp_path)} → {href}"
    assert any("trends/" in words for path, words in pages.items() if path.parent.name == "athletes")


def test_a_new_note_draws_the_pages_again(tmp_path):
    with Store(tmp_path / "data" / "matside.sqlite") as store:
        invented.fill(store, tmp_path / "data", athletes=2, weeks=1, pictures=False)
        assert write_pages(store, load_tolerances(), tmp_path)[1] and not write_pages(store, load_tolerances(), tmp_path)[1]
        store.add_note("OT-01", invented.FIRST_DAY.isoformat(), "growth", "Grew 2 cm")
        assert write_pages(store, load_tolerances(), tmp_path)[1]
    assert "Grew 2 cm" in (tmp_path / "trends" / "OT-01.html").read_text("utf-8")
