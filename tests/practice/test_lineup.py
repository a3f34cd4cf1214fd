"""Who stands where, on lists small enough to sort by hand."""

from datetime import date

import pandas as pd

from pipeline.practice.lineup import line_up


def roster(*rows):
    return pd.DataFrame(rows, columns=["athlete", "cohort", "lead_side", "consent_until"])


def attempts(*rows):
    """(athlete, cohort, date, skill, lead_side, how many)."""
    return pd.DataFrame([row[:5] for row in rows for _ in range(row[5])], columns=["athlete", "cohort", "date", "skill", "lead_side"])


def test_left_leaders_stand_first_then_right_then_those_to_ask():
    line = line_up(
        roster(("OT-01", "Otters", "right", ""), ("OT-02", "Otters", "", ""), ("OT-03", "Otters", "left", ""), ("OT-00", "Otters", "right", "")),
        attempts(),
    )["Otters"]  # fmt: skip
    assert [p.athlete for p in line] == ["OT-03", "OT-00", "OT-01", "OT-02"]
    assert [p.side for p in line] == ["left", "right", "right", ""]


def test_where_the_roster_says_nothing_the_attempts_do():
    line = line_up(roster(("OT-01", "Otters", "", "")), attempts(("OT-01", "Otters", "2026-03-02", "lunge", "left", 3)))["Otters"]
    assert (line[0].side, line[0].found, line[0].mismatch) == ("left", "left", False)


def test_a_mismatch_is_said_and_the_roster_still_lines_up():
    line = line_up(
        roster(("OT-01", "Otters", "right", "")),
        attempts(("OT-01", "Otters", "2026-03-02", "cartwheel", "left", 4), ("OT-01", "Otters", "2026-03-02", "cartwheel", "right", 1)),
    )["Otters"]
    assert (line[0].side, line[0].mismatch, line[0].left, line[0].right) == ("right", True, 4, 1)


def test_skills_that_do_not_show_the_lead_leg_tell_nothing():
    line = line_up(
        roster(("OT-01", "Otters", "right", "")), attempts(("OT-01", "Otters", "2026-03-02", "shoulder_stand", "left", 9))
    )["Otters"]  # fmt: skip
    assert (line[0].found, line[0].mismatch) == ("", False)


def test_who_is_not_on_the_roster_but_was_filmed_lately_stands_in_the_line():
    lines = line_up(
        roster(("OT-01", "Otters", "right", "")),
        attempts(
            ("OT-01", "Otters", "2026-03-30", "lunge", "right", 1), ("OT-05", "Otters", "2026-03-20", "lunge", "left", 3),
            ("OT-06", "Otters", "2026-01-20", "lunge", "left", 3), ("HE-01", "Otters", "2026-03-09", "lunge", "", 1),
            ("HE-01", "Herons", "2026-03-20", "lunge", "", 1), ("XX-01", "", "2026-03-20", "lunge", "", 1),
        ),
    )  # fmt: skip
    assert {name: [p.athlete for p in line] for name, line in lines.items()} == {
        "Herons": ["HE-01"], "Otters": ["OT-05", "OT-01"], "": ["XX-01"],
    }  # fmt: skip
    assert list(lines) == ["Herons", "Otters", ""]


def test_consent_that_ran_out_and_children_the_roster_does_not_know_are_not_filmed():
    lines = line_up(
        roster(("OT-01", "Otters", "left", "2026-03-08"), ("OT-02", "Otters", "left", "2026-03-09")),
        attempts(("OT-03", "Otters", "2026-03-02", "lunge", "left", 3)), today=date(2026, 3, 9),
    )  # fmt: skip
    assert {p.athlete: p.may_film for p in lines["Otters"]} == {"OT-01": False, "OT-02": True, "OT-03": False}
    unknown = line_up(roster(), attempts(("OT-03", "Otters", "2026-03-02", "lunge", "left", 3)))
    assert unknown["Otters"][0].may_film, "results from before rosters were kept"


def test_nobody_makes_no_line():
    assert line_up(roster(), attempts()) == {}
