"""What an interval swallows is said to be so and not coached; a clip that was measured is not among those without a result."""

import gettext
import math
from types import SimpleNamespace

import pytest

from pipeline.attempts.kinds import BACK_BENT, EITHER_WAY
from pipeline.reports.attempt_view import between_kinds
from pipeline.reports.reading_view import reading_view
from pipeline.reports.records import AttemptRecord, ClipRow, ReadingRow, Week
from pipeline.reports.week_view import mark_of, problems_of, week_view
from pipeline.scoring.tolerances import Kind, Tolerance
from pipeline.scoring.verdicts import TOO_WIDE

TR = gettext.NullTranslations()
STRAIGHT = Tolerance(target=180.0, kind=Kind.AT_LEAST, met_within=12.0, close_within=25.0, source="common practice, no source")


def row(value, low, high, verdict="close", reason=""):
    """A lunge's back knee."""
    return ReadingRow(
        "OT-01", "Otters", "2026-03-02", "a.mp4", "lunge", "alone", 1, "knee_angle", "", value, low, high, "deg", 1.0, verdict, reason,
        "OT-01_2026-03-02_aaaaaaaa_1", 1.0,
    )  # fmt: skip


def test_a_fault_inside_the_range_is_not_coached():
    view = reading_view(TR, row(174.0, 166.0, 180.0), STRAIGHT)
    assert view.meaning == "6° bent, which is less than can be told." and view.next == ""


def test_a_range_shown_as_reaching_the_target_reaches_it():
    view = reading_view(TR, row(172.6, 158.4, 179.6), STRAIGHT)
    assert view.shown == "173° (158–180°)" and view.meaning == "7° bent, which is less than can be told." and view.next == ""
    assert reading_view(TR, row(171.0, 158.4, 178.9), STRAIGHT).meaning == "9° bent."


def test_a_fault_beyond_the_range_is():
    view = reading_view(TR, row(160.0, 152.0, 168.0), STRAIGHT)
    assert view.meaning == "20° bent." and view.next != ""


@pytest.mark.parametrize(
    ("skill", "detail", "value", "said"),
    [
        ("lunge", "knee_angle", BACK_BENT + EITHER_WAY - 0.1, True),
        ("loaded_lunge", "knee_angle", BACK_BENT - EITHER_WAY + 0.1, True),
        ("lunge", "knee_angle", BACK_BENT + EITHER_WAY + 0.1, False),
        ("lunge", "knee_angle", math.nan, False),
        ("lunge", "hip_angle", BACK_BENT, False),
        ("cartwheel", "knee_angle", BACK_BENT, False),
    ],
)
def test_a_lunge_whose_knee_lies_between_the_two_kinds_says_so(skill, detail, value, said):
    reading = row(value, value - 5, value + 5)._replace(skill=skill, detail=detail)
    words = between_kinds(TR, AttemptRecord(SimpleNamespace(skill=skill), [reading]))
    assert ("clips.csv" in words) is said and bool(words) is said


def test_what_cannot_be_told_is_at_best_a_guess():
    view = reading_view(TR, row(166.0, 93.0, 176.0, "cannot tell", TOO_WIDE), STRAIGHT)
    assert view.meaning == "14° bent, at a guess."


@pytest.mark.parametrize(
    ("reason", "how"),
    [(TOO_WIDE, True), ("", True), ("Two people move much alike in this clip, so it is not sure who was measured.", False)],
)
def test_how_to_film_is_said_once(reason, how):
    """Where the reason names its own remedy, the skill's usual one would only lead away from it."""
    unread = row(math.nan, math.nan, math.nan, "cannot tell", reason)
    assert bool(reading_view(TR, unread, STRAIGHT).film) is how
    week = Week("2026-W10", "2026-03-02", attempts=[SimpleNamespace(readings=[unread])])
    (gap,) = week_view(TR, week, "", {}, {}).gaps
    assert gap.film.startswith("Film from the side") is how, "and so on the week's page"


def test_a_reason_that_needs_another_view_for_each_skill_is_said_once_a_skill():
    unread = row(math.nan, math.nan, math.nan, "cannot tell", TOO_WIDE)
    wheel = unread._replace(skill="cartwheel", detail="knee_angle", side="left")
    week = Week("2026-W10", "2026-03-02", attempts=[SimpleNamespace(readings=[unread, wheel, unread])])
    assert [(gap.film[:16], len(gap.places)) for gap in week_view(TR, week, "", {}, {}).gaps] == [
        ("Film from the si", 2),
        ("Film from the fr", 1),
    ]


def test_undated_clips_are_no_week():
    dated, undated = (week_view(TR, Week(key, date), "", {}, {}).summary for key, date in (("2026-W10", "2026-03-02"), ("undated", "")))
    assert dated == "Nothing was measured in this week." and undated == "None of them was measured."


def test_a_mark_names_its_range():
    assert mark_of(TR, row(160.0, 152.0, 168.0), "").title == "OT-01, Back knee: close, 160° ± 8°"
    assert mark_of(TR, row(math.nan, math.nan, math.nan, "cannot tell"), "").title == "OT-01, Back knee: cannot tell"


def test_a_measured_clip_with_a_doubt_is_not_one_without_a_result():
    week = Week("2026-W10", "2026-03-02")
    week.clips += [
        ClipRow("a.mp4", "OT-01", "2026-03-02", "measured", "Two people move much alike (67 %)"),
        ClipRow("b.mp4", "OT-01", "2026-03-02", "failed", "the clip breaks off"),
        ClipRow("c.mp4", "OT-01", "2026-03-02", "measured", ""),
        ClipRow("d.mp4", "", "2026-03-02", "needs you", "whose clip is it?"),
    ]
    found = problems_of(TR, [week], "2026-W10", latest=True)
    assert [[clip.name for clip in some] for some in (found.waiting, found.others, found.doubted)] == [["d.mp4"], ["b.mp4"], ["a.mp4"]]


def test_the_front_page_says_where_in_earlier_weeks_a_clip_gave_no_result(tmp_path):
    """A clip of an earlier week may have come, and failed, in the last night."""
    from pipeline.reports.site import write_site
    from pipeline.scoring.tolerances import load_tolerances
    from pipeline.store import ClipResult, Store

    with Store(tmp_path / "data" / "matside.sqlite") as store:
        for name, day, status in (
            ("a.mp4", "2026-03-16", "nothing found"),
            ("b.mp4", "2026-03-10", "failed"),
            ("c.mp4", "2026-03-11", "skipped"),
        ):
            store.put(ClipResult(name, name, "OT-01", "Otters", day, status, "Because."))
        store.put(ClipResult("d.mp4", "d", "", "", "2026-03-24", "skipped", "left out: clips.csv says skip"))
        write_site(store, load_tolerances(), tmp_path, tmp_path / "data")
    front, week = ((tmp_path / name).read_text("utf-8") for name in ("index.html", "weeks/2026-W12.html"))
    assert '<a href="weeks/2026-W11.html#without">Week of 9 March 2026: 2 clips</a>' in front and 'id="without"' in (
        tmp_path / "weeks" / "2026-W11.html"
    ).read_text("utf-8")
    assert "other weeks" not in week and "Nothing was measured in this week." in front and "0 of 0" not in front
    assert "Week of 16 March 2026" in front.split("</title>")[0] and "d.mp4" not in front, "what the coach left out is no problem"
