"""Sentences stored or made in English are known to the pages, every one, and said in the page's language with their numbers kept."""

import ast
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import pipeline.measures
from pipeline.measures import words
from pipeline.reports.language import translations
from pipeline.reports.said import CLIPS, REASONS, TRENDS, known, said
from pipeline.scoring import verdicts
from pipeline.scoring.tolerances import load_tolerances
from pipeline.trends.athlete import athlete_trends
from pipeline.trends.precision import learn
from pipeline.trends.sessions import sessions
from pipeline.trends.words import drop_sentence, sentence

ENGLISH, GERMAN = translations(), translations("de")


def sentences_of_the_measures() -> set[str]:
    """Every full sentence that is written in the measures' code, apart from docstrings and errors of ours; numbers put in where they go."""
    found = set()
    for path in Path(pipeline.measures.__file__).parent.glob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        left_out = {
            id(part)
            for node in ast.walk(tree)
            if isinstance(node, ast.JoinedStr | ast.Raise)
            for part in ast.walk(node)
            if part is not node
        }
        left_out |= {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        for node in ast.walk(tree):
            if id(node) in left_out:
                continue
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                text = node.value
            elif isinstance(node, ast.JoinedStr):
                text = "".join(str(part.value) if isinstance(part, ast.Constant) else "4" for part in node.values)
            else:
                continue
            if re.match(r"[A-Z][a-z]+ .*[a-z].*(\.|4)$", text, re.DOTALL) and text.count(" ") > 5:
                found.add(text)
    return found


def test_every_reason_that_the_measures_can_give_is_known():
    found = sentences_of_the_measures()
    assert len(found) > 20 and {words.SIDE_VIEW, words.no_floor()} <= found
    assert [text for text in sorted(found) if not known(text)] == []
    for text in (verdicts.TOO_WIDE, verdicts.NO_TOLERANCE, *verdicts.NOT_JUDGED):
        assert known(text)


@pytest.mark.parametrize("text", [
    words.not_seen("hips and feet", 0.31, "first second of standing", words.SIDE_VIEW), words.too_turned(47.6, words.FRONT_VIEW),
    words.another_body(0.52, "hold"), words.too_small(), "not opened: consent for OT-01 ran out on 2026-03-01",
])  # fmt: skip
def test_in_german_no_english_is_left_and_every_number_stands(text):
    german = said(GERMAN, text)
    assert known(text) and said(ENGLISH, text) == text
    assert sorted(re.findall(r"\d+", german)) == sorted(re.findall(r"\d+", text))
    assert not re.search(r"\b(the|of|was|and|seen|standing|hold)\b", german), german


def messages_of(*folders: str) -> set[str]:
    """The words of every UnreadableClip and fault that these rooms can give, 4.2 put in for what changes; without the clip's name."""
    found = set()
    for file in (file for folder in folders for file in Path(folder).glob("*.py")):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            raised = isinstance(node, ast.Call) and getattr(node.func, "id", "") == "UnreadableClip" and node.args
            given_up = isinstance(node, ast.Return) and isinstance(node.value, ast.JoinedStr)
            words = node.args[0] if raised else node.value if given_up else None
            if isinstance(words, ast.JoinedStr):
                parts = [part.value if isinstance(part, ast.Constant) else "4.2" for part in words.values]
                text = "".join(parts).removeprefix("4.2: ")
                if raised or text.startswith(("given up", "the worker process crashed")):
                    found.add(text)
    return found


def test_every_reason_that_a_clip_can_fail_for_is_known_also_behind_its_name():
    root = Path(pipeline.measures.__file__).parents[1]
    found = messages_of(str(root / "clips"), str(root / "batch"))
    whole = [text for text in found if not text.startswith(("4.2 after", "holds 4.2")) and "no such file" not in text]
    assert len(whole) >= 9 and [text for text in whole if not known(text)] == []
    for text in (
        "the clip breaks off after 1.7 s of 4.6 s, 37 frames (Invalid data found when processing input). Copy it from the phone again.",
        "the clip breaks off after 1.7 s, 37 frames. Copy it from the phone again.",
        "the clip breaks off after 1.7 s of 9.0 s, 37 frames (the times jump from 1.7 to 9.0 s). Copy it from the phone again.",
        "holds only sound. Expected a video; copy it from the phone again.",
        "whose clip is it? Fill in athlete in clips.csv, row 3",
        "clips.csv, row 3, column date: expected a date such as 2026-03-02, but came 'x'",
    ):
        for shown in (text, f"week 9/IMG_4413.MOV: {text}"):
            german = said(GERMAN, shown)
            assert known(shown) and sorted(re.findall(r"\d+", german)) == sorted(re.findall(r"\d+", shown))
            assert not re.search(r"\b(the|after|from|again|frames|holds|found|whose|but)\b", german), german


def test_every_pattern_is_translated_and_keeps_its_places():
    for pattern in (*REASONS, *CLIPS, *TRENDS):
        german = GERMAN.gettext(pattern)
        assert german != pattern and sorted(re.findall(r"%\(\w+\)s", german)) == sorted(re.findall(r"%\(\w+\)s", pattern)), pattern


def trends_of(levels: list[float], skill: str = "shoulder_stand", detail: str = "hip_angle", unit: str = "deg") -> list:
    rows = [
        {"athlete": "OT-01", "cohort": "Otters", "date": f"2026-{9 + i // 4:02d}-{1 + 7 * (i % 4):02d}", "skill": skill, "detail": detail, "side": "",
         "setting": "alone", "value": level + d, "low": level + d - 3, "high": level + d + 3, "unit": unit, "clip": f"{i}{d}", "attempt": 1, "start_s": 0.0, "verdict": "", "lead_side": "left"}
        for i, level in enumerate(levels) for d in (-1.0, 1.0)
    ]  # fmt: skip
    table = pd.DataFrame(rows)
    return athlete_trends(table, "OT-01", learn(sessions(table)))


def test_what_a_trend_says_is_known_and_german():
    tolerances, kinds = load_tolerances(), set()
    for levels in (
        [150 + 4 * i for i in range(8)],
        [170.0] * 8,
        [150.0, 152.0],
        [176 - 4 * i for i in range(8)],
        [165.0, 195.0, 165, 195, 165, 195],
    ):
        for trend in trends_of(levels):
            text = sentence(trend, tolerances.get((trend.skill, trend.detail)))
            german = said(GERMAN, text)
            assert known(text), text
            assert sorted(re.findall(r"[\d.]+\d|\d", german)) == sorted(re.findall(r"[\d.]+\d|\d", text)), german
            assert not re.search(r"\b(since|sessions?|could|chance|September|flatter|change)\b", german.replace("September", "")), german
            kinds.add(german.split(" ")[0])
    assert {"Keine", "Gestreckter"} <= kinds


def test_what_a_routine_costs_is_known_and_german():
    from pipeline.trends.setting_drop import setting_drop

    tolerance = load_tolerances()["shoulder_stand", "hip_angle"]
    for drops in ([], [-5.0], [-9.0, -10.0, -11.0, -9.5, -10.5], [3.0, -3.0, 2.0, -2.0]):
        text = drop_sentence(setting_drop(np.array(drops), None), "shoulder_stand", "hip_angle", "deg", 170.0, tolerance)
        assert known(text), text
        assert not re.search(r"\b(routine|pairs|sessions|interval|alone)\b", said(GERMAN, text)), said(GERMAN, text)


def test_what_no_pattern_knows_stays():
    assert said(GERMAN, "Something said by a later version.") == "Something said by a later version." and said(GERMAN, "") == ""
