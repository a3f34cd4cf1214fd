"""Tables learnt anew of a part alone keep all other rows, and say from what each was made."""

from __future__ import annotations

import pytest

from pipeline.attempts.held import HELD as HELD_SKILLS
from pipeline.bench.only import PARTS, is_of, merged, write_lines
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
    out = merged(OLD, NEW, "holds")
    assert out == [
        "# What this is.", "# Made from 900 clips.", "# Rows of holds: Made from 300 clips.", "skill,detail,bias",
        "lunge,hip_angle,7", "lunge,arm_peak_speed,2", "cartwheel,knee_angle,3",
    ]  # fmt: skip
    again = merged(out, [line.replace("300", "400") for line in NEW], "holds")
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
    assert merged(old, new, "holds")[3:] == [*new[2:], old[-1]]


def test_a_hold_that_the_clips_did_not_show_keeps_its_rows():
    assert merged(OLD, [line for line in NEW if "hip_angle" not in line], "holds")[4] == "lunge,hip_angle,1"


def test_only_rows_of_cartwheels_knees_are_new():
    out = merged(OLD, NEW, "cartwheels")
    assert out[3:] == ["skill,detail,bias", *OLD[3:5], NEW[5]] and out[2] == "# Rows of cartwheels: Made from 300 clips."
    assert merged(out, NEW, "holds")[2:4] == ["# Rows of cartwheels: Made from 300 clips.", "# Rows of holds: Made from 300 clips."]


@pytest.mark.parametrize("only", ["holds", "cartwheels", None])
def test_a_table_is_written_whole_or_only_its_rows_of_a_part(tmp_path, only):
    path = tmp_path / "t.csv"
    path.write_text("\n".join(OLD) + "\n", encoding="utf-8")
    write_lines(path, NEW, only=only)
    assert path.read_text(encoding="utf-8").splitlines() == (merged(OLD, NEW, only) if only else NEW)


def test_parts_are_details_there_are_of_skills_that_are_looked_at_so():
    held = PARTS["holds"]
    assert set(held) == set(HELD_SKILLS) and set(PARTS["cartwheels"]) == {Skill.CARTWHEEL}
    assert {(Skill(s), d) for s, details in held.items() for d in details} >= set(LEARNT)
    named = {d for _, d in DETAIL}
    assert all(d in named for part in PARTS.values() for details in part.values() for d in details)
    assert is_of("holds", "lunge,hip_angle each frame,x,1")
    assert not is_of("holds", "shoulder_stand,finish_side,1") and not is_of("holds", "cartwheel,hip_angle,1")
    assert is_of("cartwheels", "cartwheel,knee_angle over the window,x,1") and not is_of("cartwheels", "lunge,knee_angle,1")
