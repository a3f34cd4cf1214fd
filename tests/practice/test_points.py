"""The points round: known sessions with points added up by hand here, the rule for uneven teams, ties, and every wrong line."""

from fractions import Fraction

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import MatsideError
from pipeline.practice.points import Score, fill_sheet, rank, sheet_by_hand, weaker_side
from pipeline.practice.points_plan import Uneven, WrongPlan, load_plan
from pipeline.practice.points_table import blank_table, codes_of, read_points, sheet_table
from pipeline.practice.teams import make_teams

PLAN = """
name = "Round"
[points]
met = 3
close = 1
"not yet" = 0
[points.cartwheel.knee_angle]
met = 5
[teams]
uneven = "{uneven}"
[teams.members]
Seals = ["OT-01", "OT-02"]
Terns = ["HE-01"]
[rounds."First"]
lunge = ["knee_angle", "hip_angle"]
[last_round."Last"]
lunge = "knee_angle"
cartwheel = "knee_angle"
"""


def plan_of(tmp_path, text=PLAN, uneven="mean per member"):
    path = tmp_path / "plan.toml"
    path.write_text(text.replace("{uneven}", uneven), encoding="utf-8")
    return load_plan(path)


def session(*rows):
    """Scored readings from (athlete, clip, start, skill, detail, side, verdict)."""
    return pd.DataFrame(
        [
            {"athlete": a, "cohort": "Otters", "date": "2026-03-09", "clip": c, "start_s": s, "skill": k, "detail": d, "side": side, "verdict": v}
            for a, c, s, k, d, side, v in rows
        ]
    )  # fmt: skip


SESSION = session(
    ("OT-01", "a.mp4", 1.0, "lunge", "knee_angle", "", "met"),  # First: 3 + 1
    ("OT-01", "a.mp4", 1.0, "lunge", "hip_angle", "", "close"),
    ("OT-01", "a.mp4", 9.0, "lunge", "knee_angle", "", "close"),  # Last: 1 + 5
    ("OT-01", "a.mp4", 9.0, "lunge", "hip_angle", "", "met"),  # not asked for in Last
    ("OT-01", "b.mp4", 2.0, "cartwheel", "knee_angle", "left", "met"),
    ("OT-01", "b.mp4", 2.0, "cartwheel", "knee_angle", "right", "met"),
    ("OT-02", "c.mp4", 1.0, "lunge", "knee_angle", "", "cannot tell"),  # First: one not told, one not yet
    ("OT-02", "c.mp4", 1.0, "lunge", "hip_angle", "", "not yet"),
    ("OT-02", "d.mp4", 1.0, "cartwheel", "knee_angle", "left", "met"),  # Last: the weaker side cannot be told
    ("OT-02", "d.mp4", 1.0, "cartwheel", "knee_angle", "right", "cannot tell"),
    ("HE-01", "e.mp4", 1.0, "lunge", "knee_angle", "", "met"),  # First: 3 + 3; no go in Last
    ("HE-01", "e.mp4", 1.0, "lunge", "hip_angle", "", "met"),
)


def test_points_of_a_session_added_up_by_hand(tmp_path):
    sheet = fill_sheet(plan_of(tmp_path), SESSION)
    assert sheet.scores == {
        ("OT-01", 0): Score(4, 2, 0), ("OT-01", 1): Score(6, 2, 0), ("OT-02", 0): Score(0, 1, 1), ("OT-02", 1): Score(0, 0, 1),
        ("HE-01", 0): Score(6, 2, 0), ("HE-01", 1): Score(0, 0, 0, gone=False),
    }  # fmt: skip
    assert sheet.by_detail[1, "cartwheel", "knee_angle", "Seals"] == 5  # its own points
    assert [(r.name, r.points, r.unknown, r.place) for r in sheet.results] == [("Terns", 6, 0, 1), ("Seals", 10, 2, 2)]


@pytest.mark.parametrize(
    ("uneven", "values"),
    [
        (Uneven.PER_MEMBER, {"Seals": Fraction(10, 2), "Terns": Fraction(6)}),
        (Uneven.BEST, {"Seals": Fraction(10), "Terns": Fraction(6)}),  # the smaller team has one member: OT-01 counts
        (Uneven.PER_VERDICT, {"Seals": Fraction(10, 5), "Terns": Fraction(6, 2)}),  # told: 4 + 1, and 2
    ],
)
def test_uneven_teams(tmp_path, uneven, values):
    assert {r.name: r.value for r in fill_sheet(plan_of(tmp_path, uneven=uneven), SESSION).results} == values


def test_cannot_tell_gives_nothing_and_takes_nothing(tmp_path):
    """Taking out a reading that cannot be told changes no points, under no rule."""
    for uneven in Uneven:
        plan = plan_of(tmp_path, uneven=uneven)
        less = SESSION[~((SESSION["verdict"] == "cannot tell") & (SESSION["skill"] == "lunge"))]
        with_it, without = fill_sheet(plan, SESSION), fill_sheet(plan, less)
        assert [(r.name, r.value) for r in with_it.results] == [(r.name, r.value) for r in without.results]


def test_ties_stay_ties(tmp_path):
    plan = plan_of(tmp_path)
    teams = {"A": ("X-1", "X-2", "X-3"), "B": ("Y-1",), "C": ("Z-1",)}
    scores = {(code, 0): Score(p) for code, p in {"X-1": 1, "X-2": 0, "X-3": 0, "Y-1": 3, "Z-1": 3}.items()}
    assert [(r.name, r.place, r.tied) for r in rank(plan, teams, scores)] == [("B", 1, True), ("C", 1, True), ("A", 3, False)]
    thirds = {"A": ("X-1", "X-2", "X-3"), "B": ("Y-1", "Y-2", "Y-3", "Y-4", "Y-5", "Y-6")}  # 1/3 and 2/6 are the same
    scores = {(code, 0): Score(int(code in ("X-1", "Y-1", "Y-2"))) for codes in thirds.values() for code in codes}
    assert all(r.tied and r.place == 1 for r in rank(plan, thirds, scores))


@given(st.lists(st.sampled_from(["met", "close", "not yet", "cannot tell"]), min_size=1, max_size=4))
def test_the_weaker_side_never_gives_more_than_either(sides):
    worth = {"met": 3, "close": 1, "not yet": 0, "cannot tell": 0}
    assert worth[weaker_side(sides)] <= min(worth[v] for v in sides)


def test_drawn_teams_are_even_spread_the_cohorts_and_stay_the_same():
    plan = load_plan()
    there = {f"{c[:2].upper()}-{i:02d}": c for c, n in (("Otters", 7), ("Herons", 6), ("Curlews", 4)) for i in range(1, n + 1)}
    teams = make_teams(plan, there)
    assert teams == make_teams(plan, dict(reversed(there.items())))
    assert sorted(code for codes in teams.values() for code in codes) == sorted(there)
    assert sorted(map(len, teams.values())) == [8, 9]
    for cohort in ("Otters", "Herons", "Curlews"):
        share = [sum(there[code] == cohort for code in codes) for codes in teams.values()]
        assert max(share) - min(share) <= 1
    other = make_teams(type(plan)(**{**plan.__dict__, "seed": 2}), there)
    assert other != teams


def test_who_is_not_there_and_who_has_no_team(tmp_path):
    more = session(("CU-09", "z.mp4", 0.0, "lunge", "knee_angle", "", "met"))
    rows = pd.concat([SESSION[SESSION["athlete"] != "OT-02"], more])
    sheet = fill_sheet(plan_of(tmp_path), rows)
    assert (sheet.not_there, sheet.without_team) == (("OT-02",), ("CU-09",))
    assert dict(sheet.teams) == {"Seals": ("OT-01",), "Terns": ("HE-01",)}
    with pytest.raises(MatsideError, match="nobody is in Terns"):
        fill_sheet(plan_of(tmp_path), SESSION[SESSION["athlete"] != "HE-01"])
    with pytest.raises(MatsideError, match="no attempt with an athlete"):
        fill_sheet(plan_of(tmp_path), SESSION.iloc[:0])


def test_a_blank_table_filled_in_by_hand_comes_back_as_the_same_points(tmp_path):
    plan = plan_of(tmp_path)
    sheet = fill_sheet(plan, SESSION)
    path = tmp_path / "blank.csv"
    path.write_text(blank_table(plan, sheet.teams))
    with pytest.raises(MatsideError, match="nobody's came from Seals or Terns"):
        sheet_by_hand(plan, *read_points(path, plan))
    path.write_text(sheet_table(sheet).replace(",Last,", ",2,"), encoding="utf-16")  # rounds by number, a spreadsheet's encoding
    teams, points = read_points(path, plan)
    by_hand = sheet_by_hand(plan, teams, points)
    assert [(r.name, r.points, r.value, r.place) for r in by_hand.results] == [(r.name, r.points, r.value, r.place) for r in sheet.results]
    assert not by_hand.scores["HE-01", 1].gone
    with pytest.raises(MatsideError, match=r"plan.toml, teams.uneven.*Choose"):
        sheet_by_hand(plan_of(tmp_path, uneven="mean per verdict"), teams, points)


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("Seals,OT-01,First,7", r"row 2, points: First has 6 points to give at most, but got 7"),
        ("Seals,OT-01,First,2.5", r"row 2, points: expected a whole number.*'2.5'"),
        ("Seals,OT-01,First,-1", r"row 2, points: expected a whole number"),
        ("Seals,OT-01,Third,1", r"row 2, round: expected one of First, Last, or its number, but got 'Third'"),
        ("Seals,Anna Maier,First,1", r"row 2, athlete: expected a code such as OT-01"),
        (",OT-01,First,1", r"row 2, team: expected the name"),
        ("Seals,OT-01,First,1\nTerns,OT-01,Last,1", r"row 3, team: OT-01 is in Seals"),
        ("Seals,OT-01,First,1\nSeals,OT-01,1,2", r"row 3: OT-01 in First stands in row 2"),
        ("Seals,OT-01,First,1", r"at least two teams"),
    ],
)
def test_a_wrong_table_says_where_in_one_line(tmp_path, rows, says):
    path = tmp_path / "filled.csv"
    path.write_text(f"team,athlete,round,points\n{rows}\n")
    with pytest.raises(MatsideError, match=says) as error:
        read_points(path, plan_of(tmp_path))
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("met = 3", "met = 2.5"), r"line 4, points.met: expected a whole number from 0 to 9, but got 2.5"),
        (("met = 3", "met = 10"), r"from 0 to 9, but got 10"),
        (('"not yet" = 0', ""), r"line 3, points: .*not yet is missing"),
        (('"not yet" = 0', '"not yet" = 0\n"cannot tell" = 1'), r"line 7, points.cannot tell: gives no points and takes none"),
        (("met = 5", "best = 5"), r"points.cartwheel.knee_angle.best: expected met, close, not yet"),
        (('"{uneven}"', '"sum"'), r"line 10, teams.uneven: expected 'mean per member'.*'sum'"),
        (('Terns = ["HE-01"]', 'Terns = ["OT-01"]'), r"teams.members.Terns: OT-01 is in Seals already"),
        (('Terns = ["HE-01"]', 'Terns = ["Anna Maier"]'), r"expected athletes' codes"),
        (('Terns = ["HE-01"]', ""), r"teams.members: expected 2 to 8 teams, but got 1"),
        (('["knee_angle", "hip_angle"]', '["knee_angel"]'), r"line 15, rounds.First.lunge: expected a detail of lunge .*'knee_angel'"),
        (('lunge = "knee_angle"', 'lung = "knee_angle"'), r"last_round.Last.lung: expected a skill"),
        (('lunge = "knee_angle"', 'lunge = ["knee_angle", "hip_angle"]'), r"expected one detail in quotes in the last round"),
        (('["knee_angle", "hip_angle"]', '"knee_angle"'), r"rounds.First.lunge: expected a list"),
        (('[last_round."Last"]', '[last_round."First"]'), r"another name"),
        (('name = "Round"', "nam = 1"), r"nam: expected one of name, points"),
        (('name = "Round"', "name = "), r"not readable as TOML"),
    ],
)
def test_a_wrong_plan_says_where_in_one_line(tmp_path, change, says):
    with pytest.raises(WrongPlan, match=says) as error:
        plan_of(tmp_path, PLAN.replace(*change))
    assert "\n" not in str(error.value)


def test_the_shipped_plan_has_one_detail_a_skill_in_its_last_round():
    plan = load_plan()
    last = plan.rounds[-1]
    assert last.last and len(last.skills) == len(last.details) == 4
    assert plan.uneven is Uneven.PER_MEMBER and plan.worth("backward_roll", "knee_clearance") == {"met": 4, "close": 2, "not yet": 0}


def test_codes_apart_or_with_commas():
    assert codes_of(["OT-01, OT-02", "HE-01"]) == ["OT-01", "OT-02", "HE-01"]
