"""Rows of what a routine costs, from levels set here."""

import gettext

import pytest

from pipeline.reports.routine_view import first_rows, loss_rows
from pipeline.trends.routine_loss import club_losses
from tests.trends.test_routine_loss import FLAT, HIGH, LEAN, TOLERANCES, both, pairs_of

SD = 3 / 1.959964  # readings known to ± 3
TR = gettext.NullTranslations()


def row_of(*rows):
    (row,) = loss_rows(TR, club_losses(pairs_of(*rows)), TOLERANCES, club=True)
    return row


def test_each_level_has_its_doubt_and_the_loss_its_range():
    row = row_of(both(FLAT, [172.0], [160.0], own=SD))
    assert (row.alone, row.routine, row.lost, row.range) == ("172° ± 3°", "160° ± 3°", "12° lost", "7–17°")


def test_what_cannot_be_below_0_has_no_range_below_it():
    row = row_of(both(HIGH, [30.0], [1.0], own=SD))
    assert [level.replace("\u202f", " ") for level in (row.alone, row.routine)] == ["30 % ± 3 %", "1 % (0–4 %)"]


def test_levels_on_both_sides_of_the_target_say_how_far_off_they_were():
    row = row_of(*(both(FLAT, [a], [178.0], athlete=who, own=SD) for who, a in (("A", 168.0), ("B", 194.0))))
    assert (row.alone, row.routine) == ("181° ± 3° (13° off)", "178° ± 3°")
    assert (row.lost, row.range) == ("11° gained", "8–14°"), "the range of what the words say: gained"


@pytest.mark.parametrize(("key", "alone", "routine", "words"), [(LEAN, 8.0, 3.0, "5° gained"), (HIGH, 20.0, 12.0, "8 % lost")])
def test_a_range_over_no_change_keeps_the_words_side(key, alone, routine, words):
    wide = 12 / 1.959964
    row = row_of(both(key, [alone], [routine], own=wide))
    assert row.lost.replace("\u202f", " ") == words and row.range.startswith("\u2212") and " … " in row.range
    low, high = (float(end.strip("°\u202f%").replace("\u2212", "-")) for end in row.range.split(" … "))
    assert low < 0 < float(words.split("°")[0].split(" ")[0]) < high


def test_what_was_lost_beyond_doubt_stands_open():
    lost = [both((FLAT, LEAN, HIGH)[i % 3], [0.0], [0.0], side=str(i), own=SD) for i in range(9)]
    assert first_rows(club_losses(pairs_of(*lost))) == 4, "a few at least"
    lost = [both(LEAN, [0.0], [20.0 + i], side=str(i), own=SD) for i in range(6)]
    level = [both(HIGH, [20.0], [20.0], side=str(i), own=SD) for i in range(2)]
    assert first_rows(club_losses(pairs_of(*lost, *level))) == 6
    assert first_rows(club_losses(pairs_of(*lost, level[0]))) == 7, "one row alone is not put away"
    assert first_rows(club_losses(pairs_of(lost[0]))) == 1
    assert first_rows([]) == 0
