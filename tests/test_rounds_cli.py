"""`matside points` and `matside eye`: words in, files and words out; what is wrong is one line."""

import csv
import shutil
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.errors import MatsideError, WrongCommandLine
from pipeline.store import Store
from tests.reports import invented

DAY = "2026-03-16"


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    out = tmp_path_factory.mktemp("rounds")
    with Store(out / "data" / "matside.sqlite") as store:
        invented.fill(store, out / "data", athletes=3, weeks=3, pictures=False)
    return out


def matside(out, *words, code=0):
    """What the command says; errors of ours are raised, as `main` alone turns them into a line."""
    result = CliRunner().invoke(app, [*map(str, words), *(["--out", str(out)] if out else [])])
    if isinstance(result.exception, MatsideError):
        raise result.exception
    assert result.exit_code == code, result.output
    return result.output


def test_from_blank_sheet_to_result(out, tmp_path):
    assert "blank.html" in matside(out, "points", "blank")
    table = out / "points" / "blank.csv"
    rows = list(csv.DictReader(table.open()))
    filled = tmp_path / "filled.csv"
    with filled.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows({**row, "points": "3"} for row in rows)
    assert "2026-03-09-by-hand.html" in matside(out, "points", "enter", filled, "--date", "2026-03-09")
    page = (out / "points" / "2026-03-09-by-hand.html").read_text()
    assert page.count("1 =") == 2  # three points a round for everybody: the same for each member, so the teams share the first place
    assert f"{DAY}.html" in matside(out, "points", "fill", "--date", DAY)
    assert f"points/{DAY}.html" in (out / "index.html").read_text()


def test_who_is_away_is_not_on_the_sheet(out):
    matside(out, "points", "blank", "--without", "ot-01")
    assert "OT-01" not in (out / "points" / "blank.csv").read_text() and "HE-01" in (out / "points" / "blank.csv").read_text()
    with pytest.raises(MatsideError, match="--without XX-99: expected one of CU-01, HE-01, OT-01"):
        matside(out, "points", "blank", "--without", "XX-99")


def test_a_day_without_readings_says_which_have_some(out):
    with pytest.raises(MatsideError, match=rf"no readings from 2026-01-01.*{DAY}"):
        matside(out, "points", "fill", "--date", "2026-01-01")
    with pytest.raises(WrongCommandLine, match="expected a date"):
        matside(out, "points", "fill", "--date", "yesterday")
    with pytest.raises(WrongCommandLine, match="expected --date"):
        matside(out, "points", "fill", "--until", DAY)


def test_her_word_is_kept_and_shown(out):
    with Store(out / "data" / "matside.sqlite") as store:
        row = store.readings("OT-01").query("detail == 'knee_angle' and skill == 'lunge'").iloc[0]
    assert "Kept." in matside(out, "eye", "add", row.link, "knee_angle", "not yet")
    assert 'class="eye"' in (out / "athletes" / "OT-01.html").read_text() and (out / "eye.html").is_file()
    shown = matside(out, "eye", "show")
    assert "1 verdict of the coach, on 1 attempt by 1 athlete." in shown and "too few" in shown
    with pytest.raises(MatsideError, match="expected met, close"):
        matside(out, "eye", "add", row.link, "knee_angle", "lovely")


def test_own_routines_are_kept_and_said(out, tmp_path):
    assert "Saltmarsh first routine: lunge, cartwheel, backward roll, shoulder stand" in matside(out, "routines")
    own = tmp_path / "own.toml"
    own.write_text('[[routine]]\nname = "Ours"\nskills = ["lunge", "lunge"]\n')
    assert matside(out, "routines", own) == "Ours: lunge, lunge\n"
    own.write_text("[[routine]]\n")
    with pytest.raises(MatsideError, match="expected a name"):
        matside(out, "routines", own)
    assert matside(out, "routines") == "Ours: lunge, lunge\n"


def test_the_demos_coach_says_each_word_once(out, tmp_path):
    from pipeline.batch.demo import coach_the_demo

    demo = tmp_path / "demo"
    shutil.copytree(out, demo)
    with Store(demo / "data" / "matside.sqlite") as store:
        row = store.readings().query("detail == 'knee_angle' and skill == 'lunge'").iloc[0]
        before = len(store.eye())
    said = tmp_path / "eye.csv"
    said.write_text(f"clip,attempt,detail,side,eye\n{row.clip},{row.attempt},knee_angle,,met\nnot there.mp4,1,knee_angle,,met\n")
    for _ in range(2):
        assert list(coach_the_demo(demo, said)) == []
    with Store(demo / "data" / "matside.sqlite") as store:
        assert len(store.eye()) == max(before, 1)
    assert (demo / "points" / "blank.html").is_file() and 'href="points/' in (demo / "index.html").read_text()


def test_without_results_there_is_one_line(tmp_path):
    asked = (("points", "fill"), ("points", "blank"), ("eye", "show"), ("report",), ("athlete", "A-01"), ("compare",), ("forget", "A-01"),
             ("note", "A-01", "2026-03-02", "rest"), ("focus", "list"), ("focus", "unpin", "A-01"), ("practice",))  # fmt: skip
    for words in asked:
        with pytest.raises(MatsideError, match="no results yet"):
            matside(tmp_path / "nowhere", *words)
    assert not (tmp_path / "nowhere").exists()  # a misspelled folder is not made


def test_who_asks_before_the_first_run_is_told_of_the_demo(tmp_path):
    (tmp_path / "reports" / "demo" / "data").mkdir(parents=True)
    (tmp_path / "reports" / "demo" / "data" / "matside.sqlite").touch()
    with pytest.raises(MatsideError, match=r"no results yet.*look at the demo's with `--out .*reports.demo`"):
        matside(tmp_path / "reports", "report")


@pytest.mark.parametrize(
    "words", [("points",), ("eye",), ("points", "fill"), ("points", "blank"), ("points", "enter"), ("eye", "add"), ("eye", "read")]
)
def test_every_command_explains_itself_with_an_example(words):
    assert "Example:" in matside(None, *words, "--help")


def test_loading_the_commands_loads_nothing_heavy():
    code = "import sys, pipeline.rounds_cli; print([m for m in ('pandas', 'numpy', 'cv2', 'statsmodels', 'scipy') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
