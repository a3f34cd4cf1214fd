"""The pages beside the weeks: points round, coach's own eye, alone against routine; and what is left of them on an athlete's page."""

import csv
import re
import shutil
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from pipeline.attempts.routine import Routine, line_up
from pipeline.batch.forget import forget_athlete
from pipeline.errors import MatsideError
from pipeline.practice import eye
from pipeline.practice.points import sheet_by_hand
from pipeline.practice.points_plan import load_plan
from pipeline.reports.language import translations
from pipeline.reports.points_files import sheets
from pipeline.reports.points_page import write_blank, write_filled, write_sheet
from pipeline.reports.routine_steps import KEPT, in_words, routine_lines, steps
from pipeline.reports.routine_view import read_pairs
from pipeline.reports.share import share_athlete
from pipeline.reports.site import write_site
from pipeline.reports.tally import tally
from pipeline.scoring.tolerances import load_tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import Store
from pipeline.vocabulary import Setting, Skill
from tests.reports import invented
from tests.reports.test_site import Page, pages

ORDER = (Skill.LUNGE, Skill.CARTWHEEL, Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND)
DAY = "2026-03-16"


def routine_clip(rng, athlete, cohort, day, *, worse=8.0):
    """All four skills in one clip, each as invented for a skill alone, but every angle `worse` and nothing else changed."""
    one = invented.clip_result(rng, None, athlete, cohort, day, 9, Skill.LUNGE, pictures=False, attempts=1)
    made = []
    for number, skill in enumerate(ORDER, 1):
        attempt = replace(
            one.attempts[0].attempt, skill=skill, number=number, start_s=4.0 * number, end_s=4.0 * number + 3, setting=Setting.ROUTINE
        )
        attempt = replace(attempt, key_start_s=attempt.start_s + 1, key_end_s=attempt.start_s + 2)
        link = one.attempts[0].link[:-1] + str(number)
        result = invented.attempt_result(rng, None, attempt, link, pictures=False)
        readings = [
            replace(r, value=r.value - worse, low=r.low - worse, high=r.high - worse) if r.unit == "deg" else r for r in result.readings
        ]
        made.append(replace(result, readings=readings))
    return replace(one, clip=f"week/{athlete}_{day.isoformat()}_routine.mp4", attempts=made)


def told(store, tolerances):
    """Readings with verdicts."""
    return score(store.readings(), tolerances)


@pytest.fixture(scope="module")
def club(tmp_path_factory):
    """Four invented athletes with routines, her verdicts on 40 readings, a filled and a blank sheet."""
    out, tolerances, rng = tmp_path_factory.mktemp("beside"), load_tolerances(), np.random.default_rng(4)
    with Store(out / "data" / "matside.sqlite") as store:
        invented.fill(store, out / "data", athletes=4, weeks=3, pictures=False)
        for i in range(4):
            for week in range(3):
                day = invented.FIRST_DAY + timedelta(days=7 * week + (i % 2) * 2)
                clip = routine_clip(rng, invented.code(i), invented.COHORTS[i % 3], day)
                store.put(replace(clip, attempts=[a for a in clip.attempts if i or week < 2 or a.attempt.skill != Skill.CARTWHEEL]))
        scored = told(store, tolerances)
        verdicts = ["met", "close", "not yet", "cannot tell"]
        some = scored.iloc[::5][:60]
        said = [
            eye.check(store, r.link, r.detail, r.verdict if i % 3 else verdicts[i % 4], r.side)
            for i, r in enumerate(some.itertuples(index=False))
        ]
        eye.add(store, said)
        write_filled(store, tolerances, out, load_plan(), since=DAY, until="2026-03-18")
        write_blank(store, tolerances, out, load_plan(), {invented.code(i): "Otters" for i in range(4)})
        write_site(store, tolerances, out, out / "data", title="Saltmarsh Tumbling Club", note="Invented data.")
    return out


def test_marks_are_drawn_in_fives():
    for count in (0, 1, 4, 5, 9, 23):
        drawn = tally(count)
        strokes = len(re.findall(r"M[\d.]+ 2l", drawn)) + drawn.count("L")  # straight ones, and those across
        assert strokes == count and drawn.count("<svg") == -(-count // 5)


def test_the_front_page_leads_to_them(club):
    links = Page(club / "index.html").links
    assert {"routine.html", "eye.html", f"points/{DAY}_2026-03-18.html"} <= set(links)


def test_every_link_leads_somewhere(club):
    by_path = {page.path.resolve(): page for page in pages(club)}
    for page in by_path.values():
        for link in page.links:
            target, _, anchor = link.partition("#")
            file = (page.path.parent / target).resolve() if target else page.path.resolve()
            assert file.is_file(), f"{page.path.name}: {link}"
            assert not anchor or anchor in by_path[file].ids, f"{page.path.name}: {link}"


def test_the_sheet_says_what_its_table_says(club):
    rows = list(csv.DictReader((club / "points" / f"{DAY}_2026-03-18.csv").open()))
    page = Page(club / "points" / f"{DAY}_2026-03-18.html")
    words = " ".join(page.words.split())
    for team in {row["team"] for row in rows}:
        points = sum(int(row["points"] or 0) for row in rows if row["team"] == team)
        assert f"All of {team} {points}" in words or f"All of {team}{points}" in words
    marks = sum(
        len(re.findall(r"M[\d.]+ 2l", a.get("d", ""))) + a.get("d", "").count("L")
        for tag, a in page.elements
        if tag == "path" and "2l" in a.get("d", "")
    )
    assert marks == sum(int(row["points"] or 0) for row in rows) > 0
    assert len(rows) == 4 * 3 and "gives no points and takes none" in words


def test_the_blank_sheet_has_everybody_and_no_point(club):
    page = Page(club / "points" / "blank.html")
    assert all(invented.code(i) in page.words for i in range(4))
    assert not [a for tag, a in page.elements if tag == "svg" and a.get("class") == "tally"]
    rows = list(csv.DictReader((club / "points" / "blank.csv").open()))
    assert len(rows) == 4 * 3 and {row["points"] for row in rows} == {""}


def test_her_verdict_stands_on_the_attempt_beside_matsides(club):
    with Store(club / "data" / "matside.sqlite") as store:
        said = store.eye()
        apart = eye.compare(store, told(store, load_tolerances()), load_tolerances()).apart
    on_pages = sum(
        page.read_text().count('class="eye"') for code in set(said["athlete"]) for page in (club / "athletes").glob(f"{code}.*html")
    )
    assert on_pages == len(said) == 60
    page = (club / "eye.html").read_text()
    assert page.count('<a class="what"') == len(apart) > 5 and "Look at these again" in page
    assert "Weighted kappa, 95 % range" in page and "Only Matside cannot tell" in page


def test_what_falls_apart_is_on_the_clubs_page_and_on_the_athletes(club):
    words = " ".join(Page(club / "routine.html").words.split())
    assert "What falls apart first" in words and "4 athletes" in words and "Lost, with its 95 % range" in words
    assert "#routine" in (club / "routine.html").read_text()
    athlete = Page(club / "athletes" / "OT-01.html")
    assert "routine" in athlete.ids and "In the routine" in athlete.words
    rows = list(csv.DictReader((club / "routine.csv").open()))
    ours = {row["detail"]: float(row["loss"]) for row in rows if row["athlete"] == ""}
    assert len(ours) > 5 and {row["athlete"] for row in rows} == {"", *(invented.code(i) for i in range(4))}


def test_skills_of_a_routine_are_laid_beside_what_is_written():
    """Lunge, cartwheel, backward roll, shoulder stand are written; shoulder stand, cartwheel, loaded lunge, backward roll are shown. By
    hand: cartwheel and backward roll stand in order (no other two do), the shoulder stand came too early, nothing is left for the lunge,
    and the loaded lunge belongs nowhere."""
    tr = translations()
    routine = Routine("R", ORDER)
    found = [Skill.SHOULDER_STAND, Skill.CARTWHEEL, Skill.LOADED_LUNGE, Skill.BACKWARD_ROLL]
    up = line_up(routine, found)
    assert [(s.words, s.kind) for s in steps(tr, up, found, list("abcd"))] == [
        ("Shoulder stand, out of order", "moved"), ("Lunge, missing or not found", "missing"), ("Cartwheel", "shown"),
        ("Loaded lunge, not part of it", "extra"), ("Backward roll", "shown"),
    ]  # fmt: skip
    assert in_words(tr, up, found) == "Missing, or not found: Lunge. Not part of it: Loaded lunge. Out of order: Shoulder stand."
    short = [Skill.LUNGE, Skill.CARTWHEEL, Skill.BACKWARD_ROLL]
    assert [s.kind for s in steps(tr, line_up(routine, short), short, list("abc"))] == ["shown", "shown", "shown", "missing"]
    assert in_words(tr, line_up(routine, ORDER), ORDER) == "Shown as written."
    assert [s.kind for s in steps(tr, None, short, list("abc"))] == ["shown"] * 3 and "fits it by half" in in_words(tr, None, short)


def test_routines_stand_on_the_clubs_page_and_on_the_athletes(club):
    """One of the twelve is filmed without its cartwheel; the others are as written and need no list."""
    text = (club / "routine.html").read_text()
    assert text.count("Shown as written.") == 11 and text.count('class="order"') == 1 and "Missing, or not found: Cartwheel." in text
    assert text.count("Saltmarsh first routine") == 12
    athlete = (club / "athletes" / "OT-01.html").read_text()
    assert athlete.count("Saltmarsh first routine") == 3 and "Cartwheel, missing or not found" in athlete


def test_a_coachs_own_routines_count_where_they_are_kept(club, tmp_path):
    out = tmp_path / "out"
    shutil.copytree(club, out)
    (out / "data" / KEPT).write_text('[[routine]]\nname = "Ours"\nskills = ["cartwheel", "backward_roll", "lunge"]\n')
    with Store(out / "data" / "matside.sqlite") as store:
        (first, *_rest) = routine_lines(translations(), store, "HE-01")
        assert first.title == "Ours" and first.said == "Not part of it: Shoulder stand. Out of order: Lunge."
        (out / "data" / KEPT).write_text("[[routine]]\nname = 3")
        with pytest.raises(MatsideError, match=r"routines.toml, routine 1, name: expected a name in quotes.*, but got 3"):
            routine_lines(translations(), store)


def test_nothing_to_show_leaves_no_page_and_no_link(tmp_path):
    with Store(tmp_path / "data" / "matside.sqlite") as store:
        invented.fill(store, tmp_path / "data", athletes=1, weeks=1, pictures=False)
        write_site(store, load_tolerances(), tmp_path, tmp_path / "data")
        assert read_pairs(store, load_tolerances()) is None
    assert not (tmp_path / "eye.html").exists() and not (tmp_path / "routine.html").exists()
    assert not {"routine.html", "eye.html"} & set(Page(tmp_path / "index.html").links)


def test_a_shared_page_tells_of_nobody_else(club, tmp_path):
    with Store(club / "data" / "matside.sqlite") as store:
        page = Page(share_athlete(store, load_tolerances(), "OT-01", tmp_path / "shared.html", club / "data"))
    assert "routine" in page.ids and not any(invented.code(i) in page.words for i in range(1, 4))
    assert not [link for link in page.links if not link.startswith(("#", "data:"))]
    assert 'class="eye"' not in page.path.read_text(), "the coach's own words are hers to hand on"


def test_forgetting_takes_her_words_and_the_sheets_with_the_name(club, tmp_path):
    out = tmp_path / "out"
    shutil.copytree(club, out)
    assert sheets(out) == [f"{DAY}_2026-03-18", "blank"]
    done = forget_athlete("ot-01", out, load_tolerances())
    assert done.sheets == [f"points/{DAY}_2026-03-18.csv", f"points/{DAY}_2026-03-18.html", "points/blank.csv", "points/blank.html"]
    assert sheets(out) == []
    left = [path for path in out.rglob("*") if path.is_file() and b"OT-01" in path.read_bytes()]
    assert [path for path in left if path.name != "readings.csv" and path.suffix != ".sqlite"] == []
    with Store(out / "data" / "matside.sqlite") as store:
        assert "OT-01" not in set(store.eye()["athlete"]) and len(store.eye())


def test_a_sheet_by_hand_has_a_name_of_its_own(club, tmp_path):
    plan = load_plan()
    sheet = sheet_by_hand(plan, {"Seals": ("OT-01",), "Terns": ("HE-01",)}, {("OT-01", 0): 5, ("HE-01", 0): 5, ("HE-01", 1): 0})
    with Store(club / "data" / "matside.sqlite") as store:
        page = write_sheet(store, load_tolerances(), tmp_path, sheet, "2026-03-09")
    words = " ".join(Page(page).words.split())
    assert page.name == "2026-03-09-by-hand.html" and words.count("1 =") == 2 and "no go" in words
    assert "Cannot tell" not in words.split("Result")[1][:80]  # a tally by hand does not say it


@pytest.mark.chromium
@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["points/blank.html", f"points/{DAY}_2026-03-18.html", "eye.html", "routine.html", "athletes/OT-01.html"])
def test_no_grave_fault(club, open_page, name, scheme, width):
    """axe-core, as in test_axe.py; and nothing reaches over the page's edge or breaks its policy."""
    from tests.reports.test_axe import GRAVE, faults

    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-playwright-python, of the dev extra").Axe()
    strict = open_page(club / name, width=width)
    assert strict.complaints == [] and strict.evaluate("document.documentElement.scrollWidth") <= width
    page = open_page(club / name, width=width, color_scheme=scheme, bypass_csp=True)
    page.add_style_tag(content=".attempt{content-visibility:visible!important}")
    assert [fault for fault in faults(axe, page) if fault[1] in GRAVE] == []


@pytest.mark.chromium
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_small_clubs_sheet_is_one_page(club, open_page, paper):
    for name in ("blank", f"{DAY}_2026-03-18"):
        printed = open_page(club / "points" / f"{name}.html").pdf(format=paper)
        assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
