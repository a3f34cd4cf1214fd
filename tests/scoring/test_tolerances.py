"""Tolerance files: what is shipped is complete, a coach's file overlays it, a wrong one says where and why."""

import math
import tomllib

import pytest

from pipeline.config_files import shipped_config
from pipeline.errors import MatsideError
from pipeline.scoring.tolerances import load_tolerances, profiles
from pipeline.scoring.toml_lines import line_of
from pipeline.vocabulary import DETAIL

# Angles for which that code has no band of deviations; the file says "common practice, no source" at each.
NO_BAND = {
    ("loaded_lunge", "knee_angle"), ("loaded_lunge", "lean_angle"), ("shoulder_stand", "legs_together"), ("shoulder_stand", "finish_side"),
    ("cartwheel", "legs_apart"), ("cartwheel", "head_to_hands"), ("cartwheel", "hand_turned_in"),
}  # fmt: skip


@pytest.mark.parametrize("profile", ["beginners", "published"])
def test_shipped_profile_covers_every_detail_and_names_its_source(profile):
    tolerances = load_tolerances(profile)
    assert set(tolerances) | tolerances.own == {(str(skill), detail) for skill, detail in DETAIL}
    assert not set(tolerances) & tolerances.own
    assert tolerances.source
    assert profiles() == ["beginners", "published"]


def test_beginners_are_not_judged_more_strictly_than_the_published_bands_where_no_deduction_ends():
    """FIG Code of Points, Women's Artistic Gymnastics 2022-2024 (from memory): up to 10 degrees nothing, up to 30 a small deduction."""
    beginners, published = load_tolerances("beginners"), load_tolerances("published")
    for (skill, detail), entry in published.items():
        unit = DETAIL[skill, detail].unit
        if unit == "deg" and (skill, detail) not in NO_BAND and detail != "toe_point":
            assert (entry.met_within, entry.close_within) == (10, 30)
        assert beginners[skill, detail].met_within >= entry.met_within


def test_line_deviation_bands_are_those_of_a_single_bend():
    """A line of two equal parts bent by b at the middle leaves its chord by tan(b/2)/2 of the chord (right triangle)."""
    entry = load_tolerances("published")["lunge", "line_deviation"]
    for bend, limit in ((10, entry.met_within), (30, entry.close_within)):
        half = math.radians(bend / 2)
        assert limit == pytest.approx(100 * math.sin(half) / (2 * math.cos(half)), abs=0.05)


def test_bands_are_open_on_a_side_that_does_not_count():
    tolerances = load_tolerances()
    assert tolerances["lunge", "hip_angle"].met == (165, 195)
    assert tolerances["lunge", "knee_angle"].met == (168, math.inf)
    assert tolerances["lunge", "arms_by_ears"].close == (-math.inf, 30)


def test_a_coachs_file_overlays_only_what_it_says(tmp_path):
    own = tmp_path / "otters.toml"
    own.write_text('[profile]\nname = "Otters"\n[shoulder_stand.hip_angle]\nmet_within = 20\n', encoding="utf-8")
    tolerances, below = load_tolerances(own), load_tolerances("beginners")
    assert tolerances["shoulder_stand", "hip_angle"].met == (160, 200)
    assert tolerances["shoulder_stand", "hip_angle"].close_within == below["shoulder_stand", "hip_angle"].close_within
    assert {k: v for k, v in tolerances.items() if k != ("shoulder_stand", "hip_angle")} == {
        k: v for k, v in below.items() if k != ("shoulder_stand", "hip_angle")
    }
    assert tolerances.name == "Otters" and tolerances["shoulder_stand", "hip_angle"].source == "Otters"
    assert load_tolerances("published", own)["lunge", "hip_angle"].met_within == 10
    own.write_text('[profile]\nover = "published"\n[lunge]\nhip_angle = {target = 175}\n', encoding="utf-8")
    assert load_tolerances(str(own))["lunge", "hip_angle"].met == (165, 185)


def test_what_is_compared_with_the_athletes_own_has_no_tolerance_until_a_coach_gives_one(tmp_path):
    assert ("lunge", "arm_peak_speed") in load_tolerances().own and ("lunge", "arm_peak_speed") not in load_tolerances()
    own = tmp_path / "own.toml"
    own.write_text(
        '[lunge.arm_peak_speed]\nkind = "at least"\ntarget = 8\nmet_within = 1\nclose_within = 2\n[lunge.hip_angle]\nkind = "own"\n',
        encoding="utf-8",
    )
    tolerances = load_tolerances(own)
    assert tolerances["lunge", "arm_peak_speed"].met == (7, math.inf)
    assert ("lunge", "arm_peak_speed") not in tolerances.own
    assert ("lunge", "hip_angle") in tolerances.own and ("lunge", "hip_angle") not in tolerances


def test_a_coach_says_where_a_detail_is_asked_for(tmp_path):
    finish = load_tolerances()["shoulder_stand", "finish_side"]
    assert finish.asks("routine") and not finish.asks("alone") and finish.asks("")
    assert load_tolerances()["lunge", "hip_angle"].asks("alone")
    own = tmp_path / "own.toml"
    own.write_text('[shoulder_stand.finish_side]\nasked_in = "everywhere"\n[lunge.hip_angle]\nasked_in = "alone"\n', encoding="utf-8")
    tolerances = load_tolerances(own)
    assert tolerances["shoulder_stand", "finish_side"].asks("alone") and not tolerances["lunge", "hip_angle"].asks("routine")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("\n[lunge.hip_angle]\nmet_withn = 3", r"own\.toml, line 3, lunge\.hip_angle\.met_withn: expected one of .*\"met_within\""),
        ("[lunge.hip_angle]\ntarget = 180\nmet_within = '15'", r"line 3, lunge\.hip_angle\.met_within: expected a number, but got '15'"),
        ("[lunge.hip_angle]\nmet_within = true", r"line 2, .*expected a number, but got True"),
        ("[lunge.hip_angle]\nmet_within = nan", r"line 2, .*expected a number, but got nan"),
        ("[lunge.hip_angle]\nmet_within = -1", r"line 2, .*expected 0 or more, but got -1"),
        ("[lunge.hip_angle]\n\nmet_within = 40", r"line 3, lunge\.hip_angle\.met_within: .*met_within is 40 and close_within is 30"),
        ("[lunge.hip_angle]\nkind = 'up'", r"line 2, .*expected \"both sides\", \"at least\", \"at most\", \"own\", but got 'up'"),
        ("[lunge.hip_angle]\nkind = 'own'\ntarget = 180", r"line 3, lunge\.hip_angle\.target: expected no target beside  kind = \"own\""),
        ("[lunge.arm_peak_speed]\ntarget = 4", r"line 1, lunge\.arm_peak_speed: .*\"kind\".* missing"),
        ("[lunge.hip_angle]\nasked_in = 'cartwheel'", r"line 2, .*expected \"alone\", \"routine\", \"everywhere\", but got 'cartwheel'"),
        ("[lunge.hipangle]\nmet_within = 4", r"line 1, lunge\.hipangle: expected a detail of lunge .*\"hip_angle\""),
        ("# mine\n[lunges.hip_angle]\nmet_within = 4", r"line 2, lunges: expected a skill .*\"lunge\""),
        ("lunge = 3", r"line 1, lunge: expected a skill"),
        ("[lunge]\nhip_angle = 3", r"line 2, lunge\.hip_angle: expected a detail"),
        ("[profile]\nover = 'judges'", r"line 2, profile\.over: expected a shipped profile .*\"published\".*but got 'judges'"),
        ("[profile]\nname = 3", r"line 2, profile\.name: expected words in quotes, but got 3"),
        ("[profile]\ncolour = 'red'", r"line 2, profile\.colour: expected one of"),
        ("profile = 1", r"line 1, profile: expected a table"),
        ("[lunge.hip_angle\nmet_within = 4", r"own\.toml: not readable as TOML: .*line 1"),
    ],
)
def test_a_wrong_file_says_file_line_key_what_was_expected_and_what_came(tmp_path, text, says):
    own = tmp_path / "own.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(MatsideError, match=says) as error:
        load_tolerances(own)
    assert "\n" not in str(error.value)


def test_a_file_that_is_not_there_or_not_text_is_said(tmp_path):
    with pytest.raises(
        MatsideError, match=r"begginers: expected a tolerances file or one of the shipped profiles \(beginners, published\)"
    ):
        load_tolerances("begginers")
    own = tmp_path / "own.toml"
    own.write_bytes(b"[profile]\nname = '\xff\xfe'\n")
    with pytest.raises(MatsideError, match="expected UTF-8 text"):
        load_tolerances(own)


def test_a_file_from_a_windows_editor_is_read(tmp_path):
    own = tmp_path / "own.toml"
    own.write_bytes(b"\xef\xbb\xbf[lunge.hip_angle]\r\nmet_within = 11\r\n")
    assert load_tolerances(own)["lunge", "hip_angle"].met_within == 11


@pytest.mark.parametrize(
    ("text", "keys", "line"),
    [
        ("a = 1\n[b]\nc = 2\n[b.d]\ne = 3\n", ("b", "d", "e"), 5),
        ("a = 1\n[b]\nd.e = 2\n", ("b", "d", "e"), 3),
        ("[b]\nd = {e = 2}\n", ("b", "d", "e"), 2),
        ('[ "b" . d ] # x\n e=1', ("b", "d", "e"), 2),
        ("# [b]\n[bb]\n[b]\n", ("b",), 3),
        ("", ("b",), 1),
    ],
)
def test_line_of_a_key(text, keys, line):
    tomllib.loads(text)
    assert line_of(text, keys) == line


def test_shipped_config_that_is_not_there_is_one_line():
    with pytest.raises(MatsideError, match=r"nonsense\.toml"):
        shipped_config("nonsense.toml")
