"""Tables learnt anew of holds alone keep all other rows, and say from what each was made."""

from __future__ import annotations

import pytest

from pipeline.attempts.held import HELD as HELD_SKILLS
from pipeline.bench.only_holds import HELD, merged, of_holds, write_lines
from pipeline.bench.pose_errors import LEARNT
from pipeline.vocabulary import DETAIL, Skill

OLD = [
    "# What this is.",
    "# Made from 900 clips.",
    "skill,detail,bias",
    "lunge,hip_angle,1",
    "lunge,arm_peak_speed,2",
    "cartwheel,knee_angle,3",
]
NEW = [
    "# What this is.",
    "# Made from 300 clips.",
    "skill,detail,bias",
    "lunge,hip_angle,7",
    "lunge,arm_peak_speed,8",
    "cartwheel,knee_angle,9",
]


def test_only_rows_of_holds_are_new():
    out = merged(OLD, NEW)
    assert out == [
        "# What this is.", "# Made from 900 clips.", "# Rows of holds: Made from 300 clips.", "skill,detail,bias",
        "lunge,hip_angle,7", "lunge,arm_peak_speed,2", "cartwheel,knee_angle,3",
    ]  # fmt: skip
    again = merged(out, [line.replace("300", "400") for line in NEW])
    assert "# Rows of holds: Made from 400 clips." in again and len(again) == len(out), "said once, of the last time"


def test_rows_of_many_numbers_are_exchanged_whole():
    old = [
        "# Made from 900 clips.",
        "h",
        "lunge,hip_angle each frame,a,1",
        "lunge,hip_angle each frame,b,2",
        "cartwheel,knee_angle over the window,a,3",
    ]
    new = [
        "# Made from 300 clips.",
        "h",
        "lunge,hip_angle each frame,a,4",
        "lunge,hip_angle each frame,c,5",
        "lunge,hip_angle each frame,d,6",
    ]
    assert merged(old, new)[3:] == [*new[2:], old[-1]]


def test_a_hold_that_the_clips_did_not_show_keeps_its_rows():
    assert merged(OLD, [line for line in NEW if "hip_angle" not in line])[4] == "lunge,hip_angle,1"


@pytest.mark.parametrize("only_holds", [True, False])
def test_a_table_is_written_whole_or_only_its_rows_of_holds(tmp_path, only_holds):
    path = tmp_path / "t.csv"
    path.write_text("\n".join(OLD) + "\n", encoding="utf-8")
    write_lines(path, NEW, only_holds=only_holds)
    assert path.read_text(encoding="utf-8").splitlines() == (merged(OLD, NEW) if only_holds else NEW)


def test_what_counts_as_held_are_details_there_are_of_skills_that_are_held():
    assert set(HELD) == set(HELD_SKILLS)
    assert {(Skill(s), d) for s, details in HELD.items() for d in details} >= set(LEARNT)
    named = {d for _, d in DETAIL}
    assert all(d in named for details in HELD.values() for d in details)
    assert (
        of_holds("lunge,hip_angle each frame,x,1")
        and not of_holds("shoulder_stand,finish_side,1")
        and not of_holds("cartwheel,hip_angle,1")
    )
