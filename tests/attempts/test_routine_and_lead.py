"""Routines written down, what was found beside them, and the lead side from several attempts."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.attempts.lead import lead_of
from pipeline.attempts.routine import Routine, WrongRoutines, best_line_up, in_words, line_up, load_routines
from pipeline.vocabulary import Side, Skill

L, T, C, R, S = Skill.LUNGE, Skill.LOADED_LUNGE, Skill.CARTWHEEL, Skill.BACKWARD_ROLL, Skill.SHOULDER_STAND
DEMO = Routine("Demo", (L, C, R, S))
skills = st.lists(st.sampled_from(list(Skill)), max_size=8)


@pytest.mark.parametrize(
    ("found", "words"),
    [
        ([L, C, R, S], ()),
        ([L, R, S], ("Missing: cartwheel.",)),
        ([L, C, C, R, S], ("Not part of it: cartwheel.",)),
        ([C, L, R, S], ("Out of order: lunge.",)),
        ([L, T, R, S], ("Missing: cartwheel.", "Not part of it: loaded lunge.")),
        ([], ("Missing: lunge, cartwheel, backward roll, shoulder stand.",)),
    ],
)
def test_differences_are_said(found: list[Skill], words: tuple[str, ...]) -> None:
    up = line_up(DEMO, found)
    assert (set(in_words(up, found)) == set(words) and up.complete is not words) or up.complete == (not words)


@given(skills, skills)
def test_every_skill_ends_up_in_one_place(wanted: list[Skill], found: list[Skill]) -> None:
    up = line_up(Routine("R", tuple(wanted)), found)
    assert sorted([i for i, _ in (*up.matched, *up.out_of_order)] + list(up.missing)) == list(range(len(wanted)))
    assert sorted([j for _, j in (*up.matched, *up.out_of_order)] + list(up.extra)) == list(range(len(found)))
    assert all(wanted[i] == found[j] for i, j in (*up.matched, *up.out_of_order))
    assert list(up.matched) == sorted(up.matched) and 0.0 <= up.share <= 1.0


@given(st.lists(st.sampled_from(list(Skill)), min_size=1, max_size=8), st.data())
def test_what_is_left_out_is_what_is_missing(wanted: list[Skill], data: st.DataObject) -> None:
    gone = data.draw(st.integers(0, len(wanted) - 1))
    up = line_up(Routine("R", tuple(wanted)), wanted[:gone] + wanted[gone + 1 :])
    assert [wanted[i] for i in up.missing] == [wanted[gone]] and not up.extra and not up.out_of_order


def test_the_routine_that_fits_best_is_taken() -> None:
    first, second = load_routines()
    assert best_line_up((first, second), [L, T, C, R, S]).routine is second
    assert best_line_up((first, second), [L, C, R]).routine is first
    assert best_line_up((first, second), [S]) is None and best_line_up((), [L]) is None


def test_the_shipped_routines_are_read_whole() -> None:
    first = load_routines()[0]
    assert first.skills == (L, C, R, S)
    assert [(p.skill, p.limb.value, p.intent.value) for p in first.passages] == [(L, "arms", "sharp"), (S, "arms", "soft")]
    assert [p.name for p in first.passages_of(S)] == ["Arms into the last pose"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("routine = 3", r"at least one \[\[routine\]\]"),
        ("[[routine]]\nskills = ['lunge']", "routine 1, name.*None"),
        ("[[routine]]\nname = 'A'\nskills = ['handstand']", r"routine 1 \(A\), skills.*lunge, .*'handstand'"),
        ("[[routine]]\nname = 'A'\nskills = 'lunge'", "expected a list"),
        ("[[routine]]\nname = 'A'\nskill = []", "skill: expected one of name, skills, passage"),
        ("[[routine]]\nname = 'A'\nskills = ['lunge']\n[[routine.passage]]\nname = 'p'\nskill = 'cartwheel'", "cartwheel is not among"),
        ("[[routine]]\nname = 'A'\nskills = ['lunge']\n[[routine.passage]]\nname = 'p'\nskill = 'lunge'\nlimb = 'head'", "limb.*arms, legs.*'head'"),
        ("[[routine]]\nname = 'A'\nskills = ['lunge']\n[[routine]]\nname = 'A'\nskills = ['lunge']", "two routines are called 'A'"),
        ("[[routine", "not readable as TOML.*Expected"),
        ("name = 'A'", r"inside a \[\[routine\]\]"),
    ],
)  # fmt: skip
def test_a_wrong_file_says_where_and_what_to_do(tmp_path: Path, text: str, words: str) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(text)
    with pytest.raises(WrongRoutines, match=rf"mine\.toml.*{words}"):
        load_routines(file)


def test_a_missing_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(WrongRoutines, match=r"none\.toml: cannot be read"):
        load_routines(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("left", "right", "side"),
    [(0, 0, Side.NONE), (2, 0, Side.NONE), (3, 0, Side.LEFT), (0, 3, Side.RIGHT), (3, 1, Side.LEFT), (3, 2, Side.NONE), (4, 1, Side.LEFT)],
)  # fmt: skip
def test_the_lead_side_needs_several_attempts_that_agree(left: int, right: int, side: Side) -> None:
    assert lead_of(left, right) is side


@given(st.integers(0, 12), st.integers(0, 12))
def test_left_and_right_are_treated_alike(left: int, right: int) -> None:
    assert {lead_of(left, right), lead_of(right, left)} in ({Side.NONE}, {Side.LEFT, Side.RIGHT})
