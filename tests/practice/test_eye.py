"""The coach's own eye: kept beside Matside's verdict, through runs and changed minds, until the athlete is forgotten."""

import sqlite3
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.errors import MatsideError
from pipeline.measures.reading import Reading
from pipeline.practice.eye import Said, add, check, compare, her_verdicts, read_said, within_range
from pipeline.scoring.tolerances import Kind, Tolerance, load_tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import AttemptResult, ClipResult, Store
from pipeline.vocabulary import Setting, Side, Skill, Verdict

LUNGE, WHEEL = "OT-01_2026-03-09_aaaaaaaa_1", "OT-01_2026-03-09_aaaaaaaa_2"


def clip(knee=178.0, start=1.0, *, athlete="OT-01", numbers=(1, 2), skills=(Skill.LUNGE, Skill.CARTWHEEL)):
    """One clip with a lunge and a cartwheel; the lunge's back knee reads `knee` ± 2."""
    made = []
    for number, skill in zip(numbers, skills, strict=True):
        at = start + 5 * (skill is Skill.CARTWHEEL)
        attempt = Attempt(skill, number, at, at + 3, at + 1, at + 2, 1, Side.LEFT, Setting.ALONE, 1.0)
        sides = (Side.LEFT, Side.RIGHT) if skill is Skill.CARTWHEEL else (Side.NONE,)
        readings = [Reading("knee_angle", side, knee, knee - 2, min(knee + 2, 180.0), "deg", 0.9) for side in sides]
        made.append(AttemptResult(attempt, f"{athlete}_2026-03-09_aaaaaaaa_{number}", readings))
    return ClipResult("week/a.mp4", "a" * 64, athlete, "Otters", "2026-03-09", "measured", attempts=made)


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "matside.sqlite") as store:
        store.put(clip())
        yield store


def compared(store):
    return compare(store, score(store.readings(), load_tolerances()), load_tolerances())


def words(store):
    return [tuple(row) for row in compared(store).both[["link", "side", "hers", "its"]].itertuples(index=False)]


def test_her_verdict_stands_beside_matsides_and_a_run_overwrites_neither(store):
    add(
        store, [check(store, LUNGE, "knee_angle", "not_yet"), check(store, f"../athletes/OT-01.html#{WHEEL}", "knee_angle", "met", "right")]
    )
    assert words(store) == [(LUNGE, "", "not yet", "met"), (WHEEL, "right", "met", "met")]
    assert [(r.link, r.steps) for r in compared(store).apart.itertuples()] == [(LUNGE, 2)]
    store.put(clip(knee=120.0))  # measured again, another reading: hers stays, Matside's is the new one
    assert words(store) == [(LUNGE, "", "not yet", "not yet"), (WHEEL, "right", "met", "not yet")]


def test_the_address_of_a_reading_says_which_attempt_is_meant(store):
    """A mark on the week's page leads to a reading, so that is what is copied: the attempt's link and more."""
    assert check(store, f"{LUNGE}-knee_angle", "knee_angle", "close").link == LUNGE
    assert check(store, f"athletes/OT-01.html#{WHEEL}-knee_angle-left", "knee_angle", "met", "right") == Said(
        WHEEL, "knee_angle", "right", Verdict.MET
    )
    with pytest.raises(MatsideError, match=f"Attempts that begin with OT-01_2026: {LUNGE}, {WHEEL}"):
        check(store, f"{LUNGE}1", "knee_angle", "close")


def test_a_changed_mind_counts_and_the_earlier_word_is_kept(store):
    for verdict, hour in (("met", 8), ("close", 9)):
        add(store, [check(store, LUNGE, "knee_angle", verdict)], now=datetime(2026, 3, 10, hour, tzinfo=UTC))
    assert her_verdicts(store) == {(LUNGE, "knee_angle", ""): ("close", "2026-03-10T09:00:00+00:00", 1)}
    assert store.eye()["verdict"].tolist() == ["met", "close"]


def test_her_verdict_follows_the_attempt_not_its_number_or_code(store):
    add(store, [check(store, LUNGE, "knee_angle", "close"), check(store, WHEEL, "knee_angle", "close", "left")])
    store.put(clip(start=1.2, athlete="OT-09", numbers=(2, 3)))  # a run finds another attempt first, and the code was set right
    assert [(link, hers) for link, _side, hers, _its in words(store)] == [
        ("OT-09_2026-03-09_aaaaaaaa_2", "close"), ("OT-09_2026-03-09_aaaaaaaa_3", "close"),
    ]  # fmt: skip
    store.put(clip(start=30.0))  # nothing of it is where it was
    assert compared(store).both.empty and compared(store).lost == 2
    store.put(clip())
    assert len(compared(store).both) == 2 and compared(store).lost == 0


def test_forgetting_removes_her_words_too(store, tmp_path):
    add(store, [check(store, LUNGE, "knee_angle", "close")])
    store.put(replace(clip(), athlete="OT-09"))  # the clip has another code now; her words were given under the old one
    store.erase(["week/a.mp4"], about="OT-09")
    assert store.eye().empty
    store.close()
    assert b"knee_angle" not in (tmp_path / "matside.sqlite").read_bytes()


def test_results_of_before_are_taken_over(tmp_path):
    """A database of version 1, without the table: opened, nothing lost, her words can be kept in it."""
    path = tmp_path / "old.sqlite"
    with Store(path) as store:
        store.put(clip())
    with sqlite3.connect(path) as db:
        db.execute("DROP TABLE eye")
        db.execute("PRAGMA user_version = 1")
    with Store(path) as store:
        add(store, [check(store, LUNGE, "knee_angle", "met")])
        assert words(store) == [(LUNGE, "", "met", "met")]
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(MatsideError, match="version 99"):
        Store(path)


def test_a_table_as_readings_csv_with_a_column_more(store, tmp_path):
    path = tmp_path / "eye.csv"
    path.write_text(
        "clip;attempt;detail;side;verdict;eye\nweek/A.mp4;1;knee_angle;;met;Cannot tell\nweek/a.mp4;2;knee_angle;left;met;\n"
        "week/a.mp4;2;knee_angle;right;met;not-yet\n"
    )
    said = read_said(store, path)
    assert [(s.link, s.side, s.verdict) for s in said] == [(LUNGE, "", Verdict.CANNOT_TELL), (WHEEL, "right", Verdict.NOT_YET)]
    add(store, said)
    found = compared(store).agree()
    assert (found.pairs, found.hers_open, found.its_open) == (1, 1, 0)


@pytest.mark.parametrize(
    ("table", "says"),
    [
        (
            "link,detail,eye\nOT-01_2026-03-09_bbbbbbbb_1,knee_angle,met",
            r"row 2: .*expected an attempt's link.*OT-01_2026-03-09_aaaaaaaa_1",
        ),
        (f"link,detail,eye\n{LUNGE},knee_clearance,met", r"row 2: 'knee_clearance': expected a detail of lunge \(line_deviation"),
        (f"link,detail,eye\n{LUNGE},knee_angle,good", r"row 2: 'good': expected met, close, not yet, cannot tell"),
        (f"link,detail,eye\n{WHEEL},knee_angle,met", r"row 2: knee_angle: expected left or right, but got 'none'"),
        (f"link,detail,side,eye\n{LUNGE},knee_angle,left,met", r"row 2: knee_angle: expected no side, but got 'left'"),
        (f"link,detail,eye\n{LUNGE},knee_angle,met\n{LUNGE},knee_angle,close", r"row 3: this attempt and detail stand in row 2"),
        ("clip,attempt,detail,eye\nweek/a.mp4,7,knee_angle,met", r"row 2: clip 'week/a.mp4', attempt '7': that clip has 1, 2"),
        ("clip,attempt,detail,eye\nb.mp4,1,knee_angle,met", r"row 2: .*no clip of that name"),
        ("clip,detail,eye\nweek/a.mp4,knee_angle,met", r"expected a column link, or the columns clip and attempt"),
        (f"link,detail\n{LUNGE},knee_angle", r"eye missing"),
        (f"link,detail,eye\n{LUNGE},knee_angle,", r"all its cells are empty"),
    ],
)
def test_a_wrong_table_says_where_and_keeps_nothing(store, tmp_path, table, says):
    path = tmp_path / "eye.csv"
    path.write_text(table + "\n")
    with pytest.raises(MatsideError, match=says) as error:
        add(store, read_said(store, path))
    assert "\n" not in str(error.value) and store.eye().empty


def test_rows_of_attempts_not_on_record_can_be_passed_over(store, tmp_path):
    path = tmp_path / "eye.csv"
    path.write_text("clip,attempt,detail,eye\nweek/a.mp4,9,knee_angle,met\nweek/a.mp4,1,knee_angle,close\nb.mp4,1,knee_angle,met\n")
    assert [(s.link, s.verdict) for s in read_said(store, path, known_only=True)] == [(LUNGE, "close")]


@pytest.mark.parametrize(
    ("verdict", "low", "high", "possible"),
    [
        ("met", 165, 175, True), ("met", 150, 164, False), ("close", 165, 175, True), ("close", 171, 179, False), ("close", 120, 149, False),
        ("not yet", 149, 160, True), ("not yet", 151, 160, False), ("close", 185, 195, True), ("not yet", 205, 215, True), ("cannot tell", 170, 171, True),
    ],
)  # fmt: skip
def test_a_word_within_the_readings_range_contradicts_nothing(verdict, low, high, possible):
    """Target 180, met within 10, close within 30: met is 170 to 190, close 150 to 210."""
    assert within_range(verdict, low, high, Tolerance(Kind.BOTH, 180, 10, 30)) is possible


def test_contradictions_come_before_differences_within_the_range(store):
    """The lunge reads 178 ± 2, so "not yet" cannot be; the cartwheel's right knee is made to read 166 ± 12, so "met" can."""
    second = clip()
    wheel = second.attempts[1]
    wide = [replace(r, value=166.0, low=154.0, high=178.0) for r in wheel.readings]
    store.put(replace(second, attempts=[second.attempts[0], replace(wheel, readings=wide)]))
    add(store, [check(store, WHEEL, "knee_angle", "met", "right"), check(store, LUNGE, "knee_angle", "close")])
    assert [(r.link, r.its, r.possible) for r in compared(store).apart.itertuples()] == [(LUNGE, "met", False), (WHEEL, "close", True)]
