"""The rule for the focus on readings whose right answer is worked out by hand. The rule itself: common practice, no source."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.practice.evidence import certain_shortfall, days_of
from pipeline.practice.focus import NECK, SAFETY, STALE_DAYS, Focus, Why, choose_focus
from pipeline.practice.pins import Pin
from pipeline.scoring.tolerances import Kind, Tolerance
from pipeline.scoring.verdicts import decide
from pipeline.vocabulary import DETAIL, Skill
from tests.practice.making import TOLERANCES, day, row, table

NAN = float("nan")


def focus(*rows, skill="lunge", **options) -> Focus:
    return choose_focus(table(*rows), TOLERANCES, **options)["OT-01", skill]


@pytest.mark.parametrize(
    ("kind", "low", "high", "size", "direction"),
    [
        (Kind.AT_LEAST, 130, 150, 0.5, "under"),  # met from 165: the kind end is 15 short, half of close_within 30
        (Kind.AT_LEAST, 130, 165, 0.0, ""),  # touches what is met
        (Kind.AT_LEAST, 190, 200, 0.0, ""),  # that side does not count
        (Kind.AT_MOST, 210, 220, 0.5, "over"),  # met up to 195
        (Kind.BOTH, 210, 220, 0.5, "over"),
        (Kind.BOTH, 130, 150, 0.5, "under"),
        (Kind.BOTH, 130, NAN, 0.0, ""),
        (Kind.BOTH, 100, 260, 0.0, ""),  # beyond on both sides is beyond on neither for certain
    ],
)
def test_a_shortfall_counts_from_the_kind_end_of_the_interval(kind, low, high, size, direction):
    assert certain_shortfall(low, high, Tolerance(kind, 180, 15, 30)) == (pytest.approx(size), direction)


@given(st.floats(100, 260), st.floats(0, 40), st.sampled_from(list(Kind)))
def test_what_is_certainly_short_is_never_met_and_what_is_met_never_short(value, half, kind):
    """Against the verdicts' own rule, written independently of this one."""
    if kind not in (Kind.BOTH, Kind.AT_LEAST, Kind.AT_MOST):
        return
    tolerance = Tolerance(kind, 180, 15, 30)
    size, _ = certain_shortfall(value - half, value + half, tolerance)
    verdict = decide(np.array([value]), np.array([value - half]), np.array([value + half]), tolerance)[0]
    if verdict == "met":
        assert size == 0
    if verdict == "not yet":
        assert size > 0
    if size > 0:
        assert verdict in ("close", "not yet")


def test_the_largest_certain_shortfall_in_its_own_scale():
    """Hips 20 short of 165, of 30: 0.67. Knee 16 short of 170, of 20: 0.8. The knee, though its degrees are fewer."""
    found = focus(row("hip_angle", 135, 145), row("knee_angle", 144, 154))
    assert (found.why, found.key, found.direction) == (Why.LARGEST, ("knee_angle", ""), "under")
    assert found.size == pytest.approx(0.8) and found.certain


def test_a_larger_shortfall_that_is_not_certain_does_not_count():
    found = focus(row("hip_angle", 100, 166), row("knee_angle", 160, 168))
    assert found.key == ("knee_angle", "") and found.size == pytest.approx(0.1)


def test_safety_comes_before_a_larger_shortfall():
    rows = (row("standing_sway", 60, 70, skill="backward_roll"), row("head_turn", 16, 20, skill="backward_roll"))
    found = focus(*rows, skill="backward_roll")
    assert (found.why, found.key.detail, found.loads) == (Why.SAFETY, "head_turn", NECK)
    unsure = (rows[0], row("head_turn", 10, 40, skill="backward_roll"))
    assert focus(*unsure, skill="backward_roll").key.detail == "standing_sway", "safety, too, only where it is certain"


def test_the_neck_comes_before_the_knees():
    found = focus(
        row("knee_contact_time", 1.0, 2.0, skill="backward_roll"), row("head_turn", 16, 18, skill="backward_roll"), skill="backward_roll"
    )
    assert found.key.detail == "head_turn"


def test_every_safety_detail_is_one_of_the_vocabulary():
    assert all((Skill(skill), detail) in DETAIL for skill, detail in SAFETY)


def test_nothing_certain_is_never_a_focus_and_says_what_came_nearest():
    found = focus(row("hip_angle", 150, 170), row("knee_angle", 150, 190), row("arms_by_ears", 0, 20))
    assert found.why is Why.CANNOT_TELL and not found.certain
    assert found.key == ("hip_angle", ""), "20 of 30 from the target against 10 of 20, both beyond what is met; arms lie within"


def test_no_value_at_all_cannot_be_told():
    found = focus(row("hip_angle", NAN, NAN))
    assert (found.why, found.key, found.evidence) == (Why.CANNOT_TELL, None, None)


def test_all_that_was_read_is_met():
    assert focus(row("hip_angle", 170, 190), row("knee_angle", 172, 180), row("line_deviation", NAN, NAN)).why is Why.MET


def test_the_middle_attempt_of_the_latest_day_speaks():
    rows = [row("hip_angle", low, low + 10, attempt=i, week=1) for i, low in enumerate((80, 135, 160), 1)]
    found = focus(row("hip_angle", 90, 100), *rows)
    assert found.evidence.low == 135 and found.latest == day(1)
    two = focus(row("hip_angle", 80, 90, attempt=1), row("hip_angle", 135, 145, attempt=2))
    assert two.evidence.low == 135, "both certainly short: of two, the kinder"
    assert (two.evidence.short, two.evidence.goes) == (2, 2)


def test_a_certain_shortfall_in_one_of_two_goes_does_not_vanish_behind_a_good_one():
    good, short = row("hip_angle", 175, 185, attempt=1), row("hip_angle", 135, 145, attempt=2)
    for rows in ((good, short), (short, row("hip_angle", 175, 185, attempt=3))):
        found = focus(*rows)
        assert (found.why, found.evidence.low, found.evidence.short, found.evidence.goes) == (Why.LARGEST, 135, 1, 2)
    wide = row("hip_angle", 90, 170, attempt=1)  # further off by its value, but nothing is certain of it
    assert focus(wide, short).evidence.low == 135


def test_a_certain_shortfall_in_one_of_three_goes_is_a_slip_and_is_said():
    goods = [row("hip_angle", 175, 185, attempt=i) for i in (1, 2)]
    found = focus(*goods, row("hip_angle", 135, 145, attempt=3), row("knee_angle", 172, 180))
    assert (found.why, found.key.detail, found.evidence.low) == (Why.CANNOT_TELL, "hip_angle", 135), "neither a focus nor met"
    assert (found.evidence.short, found.evidence.goes) == (1, 3)


def test_safety_needs_one_go_only():
    rows = [row("head_turn", 0, 6, skill="backward_roll", attempt=i) for i in (1, 2)]
    found = focus(*rows, row("head_turn", 16, 20, skill="backward_roll", attempt=3), skill="backward_roll")
    assert (found.why, found.loads, found.evidence.short, found.evidence.goes) == (Why.SAFETY, NECK, 1, 3)


def test_of_two_goes_that_are_not_certain_the_further_keeps_it_from_being_met():
    assert focus(row("hip_angle", 175, 185, attempt=1), row("hip_angle", 155, 175, attempt=2)).why is Why.CANNOT_TELL


def test_alone_speaks_where_there_is_both_alone_and_routine():
    found = focus(row("hip_angle", 80, 90, setting="routine"), row("hip_angle", 135, 145, attempt=2))
    assert found.evidence.low == 135


def test_a_day_that_says_nothing_of_a_detail_lets_the_last_reading_stand_for_three_weeks():
    held = row("hip_angle", 135, 145)
    assert focus(held, row("hip_angle", NAN, NAN, week=3)).key.detail == "hip_angle"
    assert focus(held, row("hip_angle", NAN, NAN, week=4)).why is Why.CANNOT_TELL


def test_a_later_reading_that_is_not_certain_takes_the_focus_away():
    assert focus(row("hip_angle", 135, 145), row("hip_angle", 150, 170, week=1)).why is Why.CANNOT_TELL


def test_details_without_a_tolerance_and_undated_clips_are_left_out():
    assert choose_focus(table(row("shoulder_angle", 10, 20), row("hip_angle", 100, 110, on="")), TOLERANCES) == {}
    assert days_of(table(), TOLERANCES) == {} and choose_focus(table(), TOLERANCES) == {}


def test_counts_have_a_shortfall_too():
    found = focus(row("rise_hands_used", 1, 2, skill="shoulder_stand"), skill="shoulder_stand")
    assert (found.why, found.direction, found.size) == (Why.LARGEST, "over", 1.0)


def test_both_sides_short_are_one_detail():
    rows = [row("knee_angle", low, low + 10, skill="cartwheel", side=side) for side, low in (("left", 130), ("right", 120))]
    found = focus(*rows, skill="cartwheel")
    assert found.key == ("knee_angle", "") and found.evidence.side == "right"
    assert focus(rows[0], row("knee_angle", 170, 180, skill="cartwheel", side="right"), skill="cartwheel").key == ("knee_angle", "left")


def weeks_of(hips, knees, **options):
    """One session a week; hips and knees as the middle of an interval of ± 3. A second athlete shows what is chance."""
    rows = [row("hip_angle", v - 3, v + 3, week=w) for w, v in enumerate(hips)]
    rows += [row("knee_angle", v - 3, v + 3, week=w) for w, v in enumerate(knees)]
    rows += [
        row(d, 158 + s, 164 + s, week=w, athlete="OT-02")
        for w, s in enumerate((0, 1, -1, 0, 1, -1, 0))
        for d in ("hip_angle", "knee_angle")
    ]
    return focus(*rows, **options)


FLAT = (130, 131, 129, 130, 131, 129, 130)
KNEE = (160, 161, 159, 160, 161, 159, 160)


def test_three_sessions_without_change_set_it_aside_for_the_next_largest():
    before = weeks_of(FLAT[:3], KNEE[:3])
    assert (before.key.detail, before.worked, before.aside) == ("hip_angle", 2, ())
    after = weeks_of(FLAT[:4], KNEE[:4])
    assert (after.key.detail, after.why, after.aside) == ("knee_angle", Why.LARGEST, ("hip_angle",))


def test_what_was_set_aside_comes_back_after_three_sessions():
    later = weeks_of(FLAT, KNEE)  # set aside in the fourth session, so back in the seventh, when the knee is set aside
    assert (later.key.detail, later.aside) == ("hip_angle", ("knee_angle",)) and not later.again


def test_a_certain_change_keeps_it_in_focus():
    rising = weeks_of((100, 110, 120, 130), KNEE[:4])
    assert (rising.key.detail, rising.aside, rising.worked) == ("hip_angle", (), 0)


def test_where_nothing_else_is_certain_it_comes_back_and_says_so():
    only = weeks_of(FLAT[:4], (175, 175, 175, 175))
    assert (only.key.detail, only.again) == ("hip_angle", True)


def test_three_sessions_are_sessions_not_days_in_a_calendar():
    """A focus of two sessions is not set aside, however long the weeks between."""
    rows = [row("hip_angle", 127, 133, week=w) for w in (0, 3, 6)]
    assert focus(*rows).aside == ()


def test_safety_is_never_set_aside_but_says_that_nothing_changed():
    rows = [row("head_turn", 24 + s, 30 + s, skill="backward_roll", week=w) for w, s in enumerate((0, 1, 0, 1, 0))]
    rows += [row("standing_sway", 30, 34, skill="backward_roll", week=w) for w in range(5)]
    found = focus(*rows, skill="backward_roll")
    assert (found.key.detail, found.unchanged, found.aside) == ("head_turn", True, ())


def test_what_was_filmed_long_before_the_others_is_not_told():
    weeks = STALE_DAYS // 7 + 1
    found = choose_focus(table(row("hip_angle", 100, 110), row("hip_angle", 100, 110, week=weeks, athlete="OT-02")), TOLERANCES)
    assert found["OT-01", "lunge"].why is Why.CANNOT_TELL and found["OT-01", "lunge"].stale
    assert found["OT-02", "lunge"].why is Why.LARGEST


def test_the_coachs_pin_wins_until_its_day():
    rows = (row("hip_angle", 100, 110), row("knee_angle", 165, 169))
    pin = Pin("OT-01", "lunge", "knee_angle", until="2026-03-31")
    pinned = focus(*rows, pins=[pin], today=date(2026, 3, 31))
    assert (pinned.why, pinned.key, pinned.until, pinned.direction) == (Why.PINNED, ("knee_angle", ""), "2026-03-31", "under")
    assert focus(*rows, pins=[pin], today=date(2026, 4, 1)).key.detail == "hip_angle"


def test_a_pin_needs_no_reading():
    found = choose_focus(table(), TOLERANCES, pins=[Pin("OT-09", "lunge", "knee_angle")], today=date(2026, 3, 2))
    assert found["OT-09", "lunge"].certain and found["OT-09", "lunge"].evidence is None


def test_the_same_readings_in_another_order_give_the_same_focus():
    rows = [row("hip_angle", 127, 133, week=w) for w in range(5)] + [row("knee_angle", 157, 163, week=w) for w in range(5)]
    assert choose_focus(table(*rows), TOLERANCES) == choose_focus(table(*rows[::-1]), TOLERANCES)


def test_a_body_line_goes_before_a_further_detail_that_falls_shorter():
    """Knee 5 short of 165, of 30: 0.17. Legs 50 short of 100 apart, of 40: 1.25, but it only counts where no line falls short."""
    legs = row("legs_apart", 40, 50, skill="cartwheel")
    bent, straight = (row("knee_angle", *ends, skill="cartwheel", side="left") for ends in ((150, 160), (170, 180)))
    assert focus(legs, bent, skill="cartwheel").key.detail == "knee_angle"
    assert focus(legs, straight, skill="cartwheel").key.detail == "legs_apart"
