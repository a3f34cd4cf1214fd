"""How a clip is named on the terminal and in the log: as its owner wrote it, and without what could play tricks."""

import pytest

from pipeline.batch.progress import clip_line
from pipeline.errors import plain
from pipeline.store import ClipResult


def line(name):
    return clip_line(ClipResult(name, "", "OT-01", "Otters", "2026-03-02", "failed", "why"))


@pytest.mark.parametrize(
    "name",
    ["Übung 1 – Räder.mp4", "🤸‍♀️ Rad.mp4", "🤸🏽‍♂️.mp4", "👨‍👩‍👧 Mutter-Kind.mov", "側転.mp4", "J\u0308a.mp4", "колесо.MOV"],
)
def test_names_that_people_give_are_shown_as_they_are(name):
    assert plain(name) == name and line(name) == f"{name}: failed: why"


@pytest.mark.parametrize(
    ("name", "told"),
    [("a\nb.mp4", "a\\nb.mp4"), ("\u202egnp.mp4", "\\u202egnp.mp4"), ("\x1b[2J.mp4", "\\x1b[2J.mp4"), ("a\u200db.mp4", "a\\u200db.mp4"),
     ("🤸\u200d", "🤸\\u200d"), ("\u200d♀", "\\u200d♀"), ("Räder\u200b.mp4", "Räder\\u200b.mp4")],
)  # fmt: skip
def test_what_could_play_tricks_is_written_out_and_nothing_else(name, told):
    assert line(name) == f"{told}: failed: why"
