"""Everybody's latest in one table, and headings that sort: who is furthest from what is wanted."""

import math

import pytest

from pipeline.reports.records import read_records
from pipeline.reports.week_view import latest_week
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store


@pytest.fixture(scope="module")
def records(site):
    with Store(site / "data" / "matside.sqlite") as store:
        return read_records(store, load_tolerances())


def test_of_each_skill_the_newest_day_of_each_athlete(records):
    attempts = latest_week(records).attempts
    assert {a.row.athlete for a in attempts} == set(records.athletes)
    for code, all_of_hers in records.athletes.items():
        for skill in {a.row.skill for a in all_of_hers}:
            shown = {a.row.link for a in attempts if (a.row.athlete, a.row.skill) == (code, skill)}
            newest = max(a.row.date for a in all_of_hers if a.row.skill == skill)
            assert shown == {a.row.link for a in all_of_hers if (a.row.skill, a.row.date) == (skill, newest)}


@pytest.mark.chromium
def test_a_heading_puts_the_least_flat_hips_first_and_back(site, open_page, records):
    hips = {}
    for attempt in latest_week(records).attempts:
        for r in attempt.readings:
            if (r.skill, r.detail) == ("shoulder_stand", "hip_angle") and math.isfinite(r.value):
                hips[r.athlete] = max(hips.get(r.athlete, 0), abs(r.value - 180))
    assert len(hips) >= 4
    page = open_page(site / "index.html")
    page.get_by_role("link", name="Everybody's latest").click()
    codes = page.locator("table.grid").first.locator("tbody th a")
    before = codes.all_text_contents()
    page.get_by_role("button", name="Flat hips").click()
    assert codes.all_text_contents()[: len(hips)] == sorted(hips, key=hips.get, reverse=True)
    assert page.get_by_role("columnheader", name="Flat hips").get_attribute("aria-sort") == "descending"
    page.get_by_role("button", name="Flat hips").click()
    assert codes.all_text_contents() == before and page.complaints == []
