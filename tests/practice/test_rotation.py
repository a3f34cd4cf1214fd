"""Minutes that add up, and groups that meet at no station: for every rotation that can be asked for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import MatsideError
from pipeline.practice.rotation import in_groups, number_of_groups, plan_rotation, stations_that_fit
from pipeline.practice.settings import PracticeSettings, changed, load_practice


@st.composite
def settings(draw):
    warm_up, close, shortest = draw(st.integers(0, 20)), draw(st.integers(0, 20)), draw(st.integers(1, 15))
    return PracticeSettings(
        minutes=draw(st.integers(warm_up + close + shortest, 240)), warm_up=warm_up, close=close, shortest_station=shortest,
        stations=draw(st.integers(1, 4)),
    )  # fmt: skip


@given(settings(), st.integers(1, 60))
def test_the_minutes_add_up_exactly_and_every_group_is_at_every_station_once(asked, athletes):
    stations = stations_that_fit(asked)
    groups = number_of_groups(athletes, stations)
    plan = plan_rotation(asked, stations, groups)
    assert plan.warm_up + plan.stations * plan.round_minutes + plan.close == asked.minutes == plan.minutes
    assert plan.round_minutes >= asked.shortest_station and asked.warm_up <= plan.warm_up < asked.warm_up + stations
    assert plan.close == asked.close and plan.starts[-1] + plan.round_minutes == asked.minutes - asked.close
    for at_once in plan.places:
        assert len(set(at_once)) == groups, "no two groups at one station"
    for group in range(groups):
        assert sorted(at_once[group] for at_once in plan.places) == list(range(stations))


@given(st.lists(st.integers(), max_size=60), st.integers(1, 4))
def test_groups_keep_the_line_and_differ_by_one_at_most(line, groups):
    cut = in_groups(line, groups)
    assert [one for group in cut for one in group] == line and len(cut) == groups
    sizes = [len(group) for group in cut]
    assert max(sizes) - min(sizes) <= 1 and sizes == sorted(sizes, reverse=True)


def test_twenty_minutes_as_shipped():
    plan = plan_rotation(load_practice(), 3, 3)
    assert (plan.warm_up, plan.round_minutes, plan.close, plan.starts) == (3, 5, 2, (3, 8, 13))
    assert plan.places == ((0, 1, 2), (1, 2, 0), (2, 0, 1))


def test_what_does_not_divide_goes_to_the_warm_up():
    plan = plan_rotation(load_practice(minutes=22), 3, 2)
    assert (plan.warm_up, plan.round_minutes, plan.close) == (5, 5, 2)


def test_short_rotations_have_fewer_stations_and_too_short_ones_say_so():
    assert stations_that_fit(load_practice(minutes=13)) == 2
    assert stations_that_fit(load_practice(minutes=8)) == 1
    with pytest.raises(
        MatsideError, match=r"minutes: 7 do not suffice for 3 of warm-up, 2 to close and one station of 3\. Expected 8 or more"
    ):
        stations_that_fit(load_practice(minutes=7))


@pytest.mark.parametrize(("athletes", "groups"), [(1, 1), (3, 1), (4, 2), (5, 2), (6, 3), (12, 3), (40, 3)])
def test_nobody_practises_alone(athletes, groups):
    assert number_of_groups(athletes, 3) == groups


def test_the_shipped_settings_are_the_defaults():
    assert load_practice() == PracticeSettings()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("minutes = 0", r"mine\.toml, line 1, minutes: should be greater than or equal to 1, but came 0"),
        ("\nstations = 9", r"mine\.toml, line 2, stations: should be less than or equal to 4, but came 9"),
        ('paper = "a3"', r"line 1, paper: should be 'a4' or 'letter', but came 'a3'"),
        ("minuts = 20", r"line 1, minuts: no such setting; expected one of minutes, warm_up"),
        ('needs_spotter = ["cartweel"]', r"line 1, needs_spotter: should be 'lunge', .*but came 'cartweel'"),
        ("minutes = ", r"mine\.toml: not valid TOML"),
    ],
)
def test_wrong_settings_are_named_with_their_line(tmp_path, text, says):
    own = tmp_path / "mine.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(MatsideError, match=says):
        load_practice(own)


def test_options_lie_over_the_file(tmp_path):
    own = tmp_path / "mine.toml"
    own.write_text("minutes = 30\nwarm_up = 6\n", encoding="utf-8")
    assert (load_practice(own, minutes=25, paper=None).minutes, load_practice(own).warm_up) == (25, 6)
    with pytest.raises(MatsideError, match="paper: should be 'a4' or 'letter', but came 'A5'"):
        changed(load_practice(own), paper="A5")
    with pytest.raises(MatsideError, match="cannot be read"):
        load_practice(tmp_path / "none.toml")
