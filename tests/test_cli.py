"""The command: every failure is one line and has its own exit code, and what was asked is done."""

import re

import pytest

from pipeline import cli
from pipeline.batch.lock import only_run
from tests.batch.nights import StandIn, clips_folder, rows_of
from tests.command_line import matside


@pytest.fixture
def stand_in(monkeypatch):
    """Runs measure at once, with made-up results."""
    import pipeline.batch.run as run_module

    engine = StandIn()
    real = run_module.run_folder
    monkeypatch.setattr(run_module, "run_folder", lambda *args, **kwargs: real(*args, **{**kwargs, "engine": engine}))
    monkeypatch.setenv("COLUMNS", "200")
    return engine


def test_a_good_run_ends_with_0_and_says_where_the_pages_are(tmp_path, stand_in):
    code, out, err = matside("run", clips_folder(tmp_path), "--out", tmp_path / "out")
    lines = out.splitlines()
    assert (code, err) == (0, "")
    assert lines[0].startswith("[1/3] ") and "measured (lunge)" in lines[0], "plain lines where nobody watches"
    assert lines[-1] == f"Pages: {(tmp_path / 'out' / 'index.html').resolve()}"
    assert "3 clips: 3 measured; 0 were done before." in out
    assert "3 were done before" in matside("run", tmp_path / "clips", "--out", tmp_path / "out")[1]


def test_clips_that_need_somebody_end_with_3(tmp_path, stand_in):
    folder = clips_folder(tmp_path)
    (folder / "IMG_1.MOV").write_bytes(b"x")
    code, out, _ = matside("run", folder, "--out", tmp_path / "out")
    assert code == 3 and f"fill in {folder / 'clips.csv'}" in out and "unassigned.html" in out


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["run"], 2, "Missing argument"),
        (["run", "nowhere"], 4, "nowhere: no such folder"),
        (["run", "CLIPS", "--roster", "none.csv"], 4, "none.csv: no roster"),
        (["run", "CLIPS", "--settings", "none.toml"], 4, "none.toml: the settings cannot be read"),
        (["run", "CLIPS", "--tolerances", "fantasy"], 4, "fantasy: expected a tolerances file"),
        (["run", "CLIPS", "--language", "xx"], 4, "expected a language that the pages speak: en, de"),
        (["run", "CLIPS", "--workers", "0"], 2, "workers"),
        (["run", "CLIPS", "--engine", "steam"], 2, "expected local or dask"),
        (["run", "CLIPS", "--engine", "dask"], 2, "ADDRESS together"),
        (["report"], 4, "no results yet"),
        (["athlete", "OT-01"], 4, "no results yet"),
        (["athlete", "OT-01", "--skill", "vault"], 2, "shoulder_stand"),
        (["athlete", "OT-01", "--since", "yesterday"], 2, "a date such as"),
        (["compare"], 4, "no results yet"),
        (["share", "OT-01"], 2, "Missing argument"),
        (["share", "OT-01", "x.html"], 4, "no results yet"),
        (["share", "OT-01", "x.html", "--since", "spring"], 2, "a date such as"),
        (["forget", "OT-01"], 4, "no results yet"),
        (["somersault"], 2, "somersault"),
    ],
)
def test_failures_are_one_line_and_have_their_code(tmp_path, monkeypatch, arguments, code, words):
    monkeypatch.setenv("COLUMNS", "200")
    folder = clips_folder(tmp_path)
    monkeypatch.chdir(tmp_path)
    arguments = [str(folder) if a == "CLIPS" else a for a in arguments]
    out = ["--out", "out"] if code != 2 else []
    got, _, err = matside(*arguments, *out)
    assert got == code and words in " ".join(err.split())
    if code == 4:
        assert err.startswith("matside: ") and err.count("\n") == 1 and "Traceback" not in err


def test_a_second_run_ends_with_5(tmp_path, stand_in):
    with only_run(tmp_path / "out" / "data"):
        code, _, err = matside("run", clips_folder(tmp_path), "--out", tmp_path / "out")
    assert code == 5 and "another run is at work" in err


@pytest.mark.parametrize(
    "command",
    [
        "report", "practice", "focus pin OT-01 lunge hip_angle", "focus unpin OT-01", "points fill", "points blank", "points enter x.csv",
        "eye add LINK hip_angle met", "eye read x.csv", "routines", "note OT-01 2026-03-02 shoes", "forget OT-01", "compare", "athlete OT-01",
    ],
)  # fmt: skip
def test_no_other_command_writes_beside_a_run(tmp_path, stand_in, monkeypatch, command):
    """Each says so at once and changes nothing."""
    where = tmp_path / "out"
    matside("run", clips_folder(tmp_path), "--out", where)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "x.csv").write_text("team,athlete,round,points,detail,eye,link\nA,OT-01,1,1,,,\nB,HE-02,1,1,,,\n")
    before = {p: p.read_bytes() for p in where.rglob("*") if p.is_file() and "lock" not in p.name}
    with only_run(where / "data"):
        code, _, err = matside(*command.split(), "--out", where)
        now = {p: p.read_bytes() for p in where.rglob("*") if p.is_file() and "lock" not in p.name and p.name != "run.since"}
    assert code == 5 and "another run is at work" in err
    assert now == before


def test_an_interruption_ends_with_130(tmp_path, monkeypatch):
    import pipeline.batch.run as run_module

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(run_module, "run_folder", interrupted)
    code, _, err = matside("run", clips_folder(tmp_path), "--out", tmp_path / "out")
    assert code == 130 and "run again to go on" in err


def test_wrong_settings_are_told_line_by_line(tmp_path):
    wrong = tmp_path / "mine.toml"
    wrong.write_text("[night]\nworkers = -1\nsleep = 8\n\n[landmarks]\nmodel = 3\n")
    code, _, err = matside("run", clips_folder(tmp_path), "--settings", wrong, "--out", tmp_path / "out")
    assert code == 4
    for words in (
        "line 2: night.workers should be greater",
        "line 3: no setting night.sleep; expected one of workers",
        "line 6: landmarks.model should be",
    ):
        assert words in err
    wrong.write_text("night = 5\n")
    assert matside("run", tmp_path / "clips", "--settings", wrong, "--out", tmp_path / "out") == (
        4, "", f"matside: {wrong}, line 1: night should be a table: [night] on a line of its own, its settings below it, but is 5.\n",
    )  # fmt: skip


def test_report_opens_no_clip(tmp_path, stand_in, monkeypatch):
    folder = clips_folder(tmp_path)
    matside("run", folder, "--out", tmp_path / "out")
    for clip in folder.glob("*.mp4"):
        clip.unlink()
    code, out, _ = matside("report", "--out", tmp_path / "out", "--tolerances", "published")
    assert code == 0 and "Pages: " in out


def test_athlete_compare_note_and_forget(tmp_path, stand_in):
    where = ["--out", tmp_path / "out"]
    matside("run", clips_folder(tmp_path), *where)
    code, out, _ = matside("athlete", "ot-01", *where)
    assert code == 0 and "OT-01" in out and "lunge Hips (alone):" in out and "No change we can be sure of: 1 session." in out
    assert re.search(r"lunge Hips \(alone\): \d+° (± \d+°|\(\d+–\d+°\)) on 2026-03-02\.", out), "a number never stands without its ±"
    assert (tmp_path / "out" / "trends" / "OT-01.html").is_file()
    assert matside("compare", *where)[0] == 0
    assert matside("note", "OT-01", "2026-03-02", "growth spurt", "--kind", "growth", *where)[0] == 0
    shown = tmp_path / "out" / "trends" / "OT-01.html"
    assert "growth spurt" in shown.read_text("utf-8"), "the pages show it at once"
    assert [matside("note", "OT-01", "2026-03-02", "typo", *more, *where)[0] for more in ((), ("--remove",))] == [0, 0]
    assert "growth spurt" in (text := shown.read_text("utf-8")) and "typo" not in text
    assert matside("note", "OT-01", "2026-03-02", "typo", "--remove", *where)[0] == 4
    code, out, _ = matside("forget", "OT-01", *where)
    assert code == 0 and "Forgotten: 1 clips of OT-01" in out and "OT-01_2026-03-02_1.mp4" in out
    assert not (tmp_path / "out" / "trends" / "OT-01.html").exists() and "OT-01_2026-03-02_1.mp4" not in rows_of(tmp_path / "out")
    assert matside("athlete", "OT-01", *where)[0] == 4
    for words in (["athlete"], ["forget"], ["focus", "list"], ["share"]):
        for nobody in ("", "OT\n01", "OT\u202e01"):
            code, _, err = matside(*words, nobody, *(["x.html"] if words == ["share"] else []), *where)
            assert code == 4 or (words, nobody) == (["focus", "list"], "")
            assert err.count("\n") <= 1 and "\u202e" not in err and not err.startswith("matside: :"), err


def test_share_writes_one_file_where_it_is_told_to_and_over_nobody_elses(tmp_path, stand_in):
    where = ["--out", tmp_path / "out"]
    matside("run", clips_folder(tmp_path), *where)
    assert not list(tmp_path.glob("*.html")), "a run shares nothing"
    file = tmp_path / "for the family.html"
    code, out, _ = matside("share", "ot-01", file, *where)
    assert code == 0 and str(file) in out and "OT-01" in file.read_text("utf-8")
    assert matside("share", "OT-01", file, *where)[0] == 0, "its own earlier page may be replaced"
    file.write_text("a letter")
    code, _, err = matside("share", "OT-01", file, *where)
    assert code == 4 and "another file is there" in err and file.read_text() == "a letter"
    for name in ("x.txt", "-", "x"):
        code, _, err = matside("share", "OT-01", tmp_path / name, *where)
        assert code == 4 and err.endswith(
            ": expected a name that ends in .html, as only so a family's browser opens it. Add it to the name.\n"
        )
        assert not (tmp_path / name).exists()
    code, _, err = matside("share", "XX-99", tmp_path / "x.html", *where)
    assert code == 4 and "on record: " in err and not (tmp_path / "x.html").exists()


def test_the_language_of_the_pages_is_kept(tmp_path, stand_in):
    out = tmp_path / "out"
    index = out / "index.html"
    assert matside("run", clips_folder(tmp_path), "--out", out, "--language", "de")[0] == 0
    assert 'lang="de"' in index.read_text("utf-8")
    matside("report", "--out", out)
    matside("athlete", "OT-01", "--out", out)
    matside("compare", "--out", out)
    for page in (index, out / "trends" / "OT-01.html", out / "cohorts" / "index.html"):
        assert 'lang="de"' in page.read_text("utf-8"), page
    assert matside("share", "OT-01", tmp_path / "x.html", "--out", out, "--language", "en")[0] == 0
    assert 'lang="en"' in (tmp_path / "x.html").read_text("utf-8")
    matside("run", tmp_path / "clips", "--out", out, "--language", "en")
    assert 'lang="en"' in index.read_text("utf-8"), "drawn anew though no clip is"


def test_doctor_finds_this_machine_fit(tmp_path):
    code, out, _ = matside("doctor", "--out", tmp_path)
    assert code == 0 and "WRONG" not in out
    angles = "near look's angles: matside_near_angles.npz, sha256 "
    for words in ("Python: 3.1", "pose_landmark_full.tflite, sha256 e9a5c5cb", angles, "cores:", "memory:", "disk:"):
        assert words in out
    (tmp_path / "letter.txt").touch()
    code, out, _ = matside("doctor", "--out", tmp_path / "letter.txt" / "pages")
    assert code == 4 and f"WRONG  pages: {tmp_path / 'letter.txt' / 'pages'}: no folder can be made" in out


def test_empty_words_that_are_no_paths_are_left_alone(tmp_path, stand_in):
    folder = clips_folder(tmp_path)
    assert matside("run", folder, "--out", tmp_path / "out", "--language", "")[0] == 0
    assert matside("run", folder, "--out", tmp_path / "out", "--language=")[0] == 0


def test_days_are_typed_as_they_are_in_the_tables():
    from datetime import date

    from pipeline.asked import asked_day

    assert asked_day("--since", "2.3.2026") == asked_day("--since", "2026-03-02") == date(2026, 3, 2)
    assert asked_day("--since", "") is None


def test_the_summary_counts_in_plain_english(capsys, tmp_path):
    from collections import Counter

    from pipeline.batch.run import Night

    for statuses, found, words in (
        ({"needs you": 5, "measured": 1}, 6, "6 clips: 1 measured, 5 need you; 0 were done before."),
        ({"needs you": 1}, 1, "1 clip: 1 needs you; 0 were done before."),
        ({"nothing found": 2}, 2, "2 clips: 2 without a skill found; 0 were done before."),
        ({}, 0, "0 clips: nothing to do; 0 were done before."),
    ):
        cli._sum_up(Night(found=found, statuses=Counter(statuses)))
        assert capsys.readouterr().out.splitlines()[0] == words


def test_tolerances_given_once_hold_for_all_that_follows_until_others_are_given(tmp_path, stand_in, monkeypatch):
    out, mine = tmp_path / "out", tmp_path / "mine.toml"
    mine.write_text('[profile]\nname = "Ours"\n[lunge.hip_angle]\nmet_within = 1\nclose_within = 2\n', "utf-8")
    folder, page = clips_folder(tmp_path), tmp_path / "out" / "index.html"
    matside("run", folder, "--out", out)
    assert "Tolerances: Beginners" in page.read_text("utf-8")
    monkeypatch.chdir(tmp_path)
    assert matside("report", "--out", out, "--tolerances", "mine.toml")[0] == 0
    monkeypatch.chdir(tmp_path.parent)  # wherever the scheduler starts
    for words in (("run", folder), ("report",), ("focus", "pin", "OT-01", "lunge", "hip_angle"), ("forget", "CU-03")):
        assert matside(*words, "--out", out)[0] == 0
        assert "Tolerances: Ours" in page.read_text("utf-8"), words
    matside("practice", "--out", out, "--tolerances", "published")
    matside("report", "--out", out)
    assert "Tolerances: Ours" in page.read_text("utf-8"), "what another command was given is for once"
    mine.unlink()
    code, _, err = matside("report", "--out", out)
    assert code == 4 and err.count("\n") == 1 and "--tolerances beginners goes back" in err and "mine.toml" in err
    assert matside("report", "--out", out, "--tolerances", "beginners")[0] == 0 == matside("report", "--out", out)[0]
    assert "Tolerances: Beginners" in page.read_text("utf-8")
