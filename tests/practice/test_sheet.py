"""Stations and groups of a cohort, on cohorts small enough to plan by hand."""

from hypothesis import given
from hypothesis import strategies as st

from pipeline.practice.evidence import Key
from pipeline.practice.focus import Focus, Why
from pipeline.practice.lineup import Place
from pipeline.practice.settings import load_practice
from pipeline.practice.sheet import MOST_BESIDE_FOUR, MOST_ON_A_PAGE, choose_stations, make_sheet
from pipeline.vocabulary import Skill

USUAL = ("lunge", "cartwheel", "backward_roll", "shoulder_stand")


def focuses(*said):
    """(athlete, skill, why)."""
    return {(who, skill): Focus(who, skill, why, Key("x", ""), size=1.0) for who, skill, why in said}


def line(count):
    return [Place(f"OT-{i:02d}", "right") for i in range(1, count + 1)]


def test_safety_first_then_what_most_athletes_work_on():
    found = focuses(
        ("A", "backward_roll", Why.SAFETY), ("A", "lunge", Why.LARGEST), ("B", "lunge", Why.LARGEST), ("A", "cartwheel", Why.LARGEST),
        ("A", "shoulder_stand", Why.CANNOT_TELL), ("B", "shoulder_stand", Why.CANNOT_TELL),
    )  # fmt: skip
    settings = load_practice(spotters=4)
    assert choose_stations(list(found.values()), 3, 3, settings) == ("lunge", "cartwheel", "backward_roll")
    assert choose_stations(list(found.values()), 2, 2, settings) == ("lunge", "backward_roll")
    assert choose_stations(list(found.values()), 1, 1, settings) == ("backward_roll",)


def test_no_more_stations_need_a_spotter_than_there_are_spotters():
    found = list(focuses(*((who, skill, Why.LARGEST) for who in "AB" for skill in USUAL[1:])).values())
    assert choose_stations(found, 3, 3, load_practice(spotters=2)) == ("lunge", "cartwheel", "backward_roll")
    assert choose_stations(found, 3, 3, load_practice(spotters=1)) == ("lunge", "cartwheel")
    assert choose_stations(found, 3, 1, load_practice(spotters=1)) == USUAL[1:], "one group is at one station at a time"


@given(st.integers(1, 40), st.integers(1, 4), st.integers(1, 3), st.lists(st.tuples(st.integers(1, 40), st.sampled_from(USUAL), st.sampled_from(list(Why))), max_size=30))  # fmt: skip
def test_everybody_stands_in_one_group_and_on_one_page(count, stations, spotters, said):
    found = focuses(*((f"OT-{i:02d}", skill, why) for i, skill, why in said))
    settings = load_practice(stations=stations, spotters=spotters)
    sheet = make_sheet("Otters", line(count), found, settings)
    on_pages = [one.place.athlete for page in sheet.pages() for group in page for one in group.lines]
    assert on_pages == [place.athlete for place in line(count)]
    most = MOST_ON_A_PAGE if len(sheet.stations) < 4 else MOST_BESIDE_FOUR
    assert all(sum(len(group.lines) for group in page) <= most for page in sheet.pages())
    assert len(sheet.pages()) == 1 or count > most
    spotted = set(map(str, settings.needs_spotter))
    assert all(sum(sheet.stations[p] in spotted for p in at_once) <= spotters for at_once in sheet.rotation.places)
    assert [one.number for group in sheet.groups for one in group.lines] == list(range(1, count + 1))


def test_a_large_cohort_has_a_page_a_group():
    pages = make_sheet("Otters", line(14), {}, load_practice()).pages()
    assert [[(g.number, len(g.lines)) for g in page] for page in pages] == [[(1, 5)], [(2, 5)], [(3, 4)]]
    pages = make_sheet("Otters", line(40), {}, load_practice()).pages()
    assert [[(g.number, len(g.lines)) for g in page] for page in pages] == [[(1, 12)], [(1, 2)], [(2, 12)], [(2, 1)], [(3, 12)], [(3, 1)]]


def test_what_matters_most_is_marked_for_each_athlete():
    found = focuses(
        ("OT-01", "lunge", Why.LARGEST), ("OT-01", "backward_roll", Why.SAFETY), ("OT-02", "lunge", Why.CANNOT_TELL),
        ("OT-03", "lunge", Why.PINNED), ("OT-03", "cartwheel", Why.LARGEST),
    )  # fmt: skip
    sheet = make_sheet("Otters", line(4), found, load_practice())
    assert sheet.stations == ("lunge", "cartwheel", "backward_roll")
    assert [one.first for group in sheet.groups for one in group.lines] == [2, None, 0, None]
    assert sheet.groups[1].lines[1].focuses == (None, None, None)


def test_nothing_on_record_gives_the_usual_stations():
    assert make_sheet("Otters", line(6), {}, load_practice()).stations == tuple(
        map(str, (Skill.LUNGE, Skill.CARTWHEEL, Skill.BACKWARD_ROLL))
    )
