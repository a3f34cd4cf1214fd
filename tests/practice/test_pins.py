"""The coach's own focus in a real store, and by the command."""

from datetime import date

import pytest
from typer.testing import CliRunner

from pipeline import cli
from pipeline.batch.run import run_folder
from pipeline.errors import MatsideError
from pipeline.practice.pins import Pin, pin_focus, read_pins, unpin_focus
from pipeline.store import Store
from tests.batch.nights import TODAY, StandIn, clips_folder

runner = CliRunner()


@pytest.fixture
def out(tmp_path):
    """The output of a night."""
    out = tmp_path / "out"
    run_folder(clips_folder(tmp_path), out, engine=StandIn(), today=TODAY)
    return out


@pytest.fixture
def store(out):
    with Store(out / "data" / "matside.sqlite") as store:
        yield store


def test_one_pin_a_skill_the_later_one_counts(store):
    pin_focus(store, "ot-01", "lunge", "hip_angle")
    pin_focus(store, "OT-01", "Lunge", "knee_angle", until="2026-04-01", today=date(2026, 4, 1))
    pin_focus(store, "OT-01", "cartwheel", "knee_angle", side="left")
    assert read_pins(store) == [Pin("OT-01", "cartwheel", "knee_angle", "left"), Pin("OT-01", "lunge", "knee_angle", "", "2026-04-01")]
    assert unpin_focus(store, "ot-01", "lunge") == 1 and unpin_focus(store, "OT-01") == 1 and read_pins(store) == []


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("XX-01", "lunge", "hip_angle"), r"XX-01: expected an athlete .* known are CU-03, HE-02, OT-01"),
        (("OT-01", "handstand", "hip_angle"), r"'handstand': expected a skill: lunge, "),
        (("OT-01", "lunge", "toes"), r"'toes': expected a detail of lunge: line_deviation, "),
        (("OT-01", "lunge", "hip_angle", "left"), r"--side 'left': expected left or right, and a detail that is read for each side"),
        (("OT-01", "lunge", "hip_angle", "", "soon"), r"--until 'soon': expected a date such as 2027-03-31"),
        (("OT-01", "lunge", "hip_angle", "", "2026-03-01"), r"--until 2026-03-01: expected today or a later day"),
    ],
)
def test_what_is_not_known_is_not_pinned(store, given, says):
    code, skill, detail, side, until = (*given, "", "")[:5]
    with pytest.raises(MatsideError, match=says):
        pin_focus(store, code, skill, detail, side=side, until=until)
    assert read_pins(store) == []
    with pytest.raises(MatsideError, match=r"OT-01: nothing is pinned"):
        unpin_focus(store, "OT-01")


def test_a_pin_shows_at_once_and_stays_over_the_next_night(tmp_path, out):
    said = runner.invoke(cli.app, ["focus", "pin", "OT-01", "lunge", "knee_angle", "--out", str(out)])
    assert said.exit_code == 0 and "Pinned for OT-01: lunge knee_angle" in said.output
    page = out / "athletes" / "OT-01.html"
    assert "Chosen by the coach; not read yet." in page.read_text("utf-8")
    assert "Back knee long and strong" in (out / "practice.html").read_text("utf-8")
    run_folder(clips_folder(tmp_path), out, engine=StandIn(), today=TODAY, again=True)
    assert "Chosen by the coach; not read yet." in page.read_text("utf-8")
    listed = runner.invoke(cli.app, ["focus", "list", "ot-01", "--out", str(out)])
    assert (
        "Lunge: Back knee long and strong (Back knee). Chosen by the coach; not read yet." in listed.output and "HE-02" not in listed.output
    )
    assert runner.invoke(cli.app, ["focus", "unpin", "OT-01", "--out", str(out)]).exit_code == 0
    assert "Chosen by the coach" not in page.read_text("utf-8")


def test_a_pin_that_has_run_out_no_longer_shows(store, out):
    store.pin("OT-01", "lunge", "knee_angle", "", "2026-03-01")
    assert runner.invoke(cli.app, ["report", "--out", str(out)]).exit_code == 0
    assert "Chosen by the coach" not in (out / "athletes" / "OT-01.html").read_text("utf-8")


def test_the_sheet_by_command_keeps_what_was_asked(tmp_path, out):
    said = runner.invoke(cli.app, ["practice", "--minutes", "24", "--paper", "letter", "--out", str(out)])
    assert said.exit_code == 0 and str(out / "practice.html") in said.output
    text = (out / "practice.html").read_text("utf-8")
    assert "Otters, 24 minutes" in text and "size:letter" in text
    run_folder(clips_folder(tmp_path), out, engine=StandIn(), today=TODAY)
    text = (out / "practice.html").read_text("utf-8")
    assert "Otters, 24 minutes" in text and "size:letter" in text


def test_one_cohort_has_a_file_of_its_own_that_goes_with_its_athletes(out):
    assert runner.invoke(cli.app, ["practice", "--cohort", "otters", "--out", str(out)]).exit_code == 0
    alone = (out / "practice-otters.html").read_text("utf-8")
    assert "OT-01" in alone and "HE-02" not in alone
    assert "HE-02" in (out / "practice.html").read_text("utf-8")
    assert runner.invoke(cli.app, ["report", "--out", str(out)]).exit_code == 0
    assert (out / "practice-otters.html").read_text("utf-8") == alone, "the next pages keep it"
    assert runner.invoke(cli.app, ["practice", "--minutes", "24", "--out", str(out)]).exit_code == 0
    assert runner.invoke(cli.app, ["focus", "pin", "OT-01", "lunge", "hip_angle", "--out", str(out)]).exit_code == 0
    assert "Otters, 24 minutes" in (out / "practice-otters.html").read_text("utf-8"), "and keep it up to date"
    assert runner.invoke(cli.app, ["forget", "OT-01", "--out", str(out)]).exit_code == 0
    assert not (out / "practice-otters.html").exists()


def test_what_cannot_be_is_one_line(out):
    for arguments, says in (
        (["practice", "--cohort", "Eels"], "Eels: expected a cohort on the roster or in the clips: Curlews, Herons, Otters"),
        (["practice", "--minutes", "6"], "minutes: 6 do not suffice"),
        (["practice", "--paper", "a5"], "paper: should be 'a4' or 'letter'"),
    ):
        with pytest.raises(MatsideError, match=says):
            runner.invoke(cli.app, [*arguments, "--out", str(out)], catch_exceptions=False)
    assert "20 minutes" in (out / "practice.html").read_text("utf-8"), "what could not be is not kept"


def test_the_roster_of_the_night_is_on_the_sheet_even_without_clips(tmp_path):
    folder = clips_folder(tmp_path, names=("OT-01_2026-03-02_1.mp4",))
    run_folder(folder, tmp_path / "out", engine=StandIn(), today=TODAY)
    text = (tmp_path / "out" / "practice.html").read_text("utf-8")
    assert "HE-02" in text and "Not filmed yet" in text
    (folder / "roster.csv").write_text("athlete,cohort,lead_side,consent_until\nOT-01,Otters,right,2027-01-01\n")
    run_folder(folder, tmp_path / "out", engine=StandIn(), today=TODAY)
    assert "HE-02" not in (tmp_path / "out" / "practice.html").read_text("utf-8")
