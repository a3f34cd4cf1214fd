"""Consent that has run out: from that day on nothing of the athlete is on a page or in a table, and all of it is kept."""

from datetime import date, timedelta

import pytest

from pipeline.batch.pages import write_pages
from pipeline.cli import main
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import ClipResult, Store
from tests.reports import invented

YESTERDAY, TODAY = ((date.today() - timedelta(days=n)).isoformat() for n in (1, 0))
GONE, STAYS = "HE-01", "OT-01"


@pytest.fixture
def out(tmp_path):
    """Three athletes of whom one has no consent since today, one has it until today, and one is on no roster."""
    with Store(tmp_path / "data" / "matside.sqlite") as store:
        invented.fill(store, tmp_path / "data", athletes=3, weeks=6, pictures=False)
        store.put(ClipResult("HE-01_new.mp4", "", GONE, "Herons", "2026-04-08", "skipped", "not opened: consent for HE-01 ran out"))
        store.add_note(GONE, "2026-03-10", "growth", "a growth spurt of hers")
        store.set_roster([(GONE, "Herons", "left", YESTERDAY), (STAYS, "Otters", "left", TODAY)])
    return tmp_path


def draw(out):
    with Store(out / "data" / "matside.sqlite") as store:
        write_pages(store, load_tolerances(), out)
        return set(store.readings()["athlete"])


def words(out) -> dict[str, str]:
    """Everything that is written for people, by its name, less what a clip that was not opened says."""
    files = [p for p in out.rglob("*") if p.suffix in (".html", ".csv") and "data" not in p.relative_to(out).parts]
    return {p.relative_to(out).as_posix(): p.read_text("utf-8") for p in files}


def test_nothing_of_hers_is_shown_and_nothing_is_lost(out):
    kept = draw(out)
    shown = words(out)
    assert kept == {GONE, STAYS, "CU-01"}, "the store has it all"
    assert not any(GONE in name for name in shown)
    assert f"athletes/{STAYS}.html" in shown and f"trends/{STAYS}.html" in shown, "consent lasts to the end of its last day"
    assert "athletes/CU-01.html" in shown, "a roster may list one group only"
    assert GONE not in shown["readings.csv"] and STAYS in shown["readings.csv"]
    assert all(GONE not in text for name, text in shown.items() if name.startswith(("trends/", "cohorts/", "athletes/")))
    assert "growth spurt" not in "".join(shown.values())
    assert [line.split(",")[0] for line in shown["clips.csv"].splitlines() if GONE in line] == ["HE-01_new.mp4"], (
        "that it was not opened is said"
    )


def test_the_front_page_says_whose_results_are_not_shown(out):
    draw(out)
    index = words(out)["index.html"]
    assert index.count("Not shown, as consent has run out: HE-01 (until ") == 1


def test_with_consent_again_all_of_it_comes_back(out):
    draw(out)
    with Store(out / "data" / "matside.sqlite") as store:
        store.set_roster([(GONE, "Herons", "left", "2099-12-31")])
    draw(out)
    shown = words(out)
    assert f"athletes/{GONE}.html" in shown and GONE in shown["readings.csv"] and "Not shown" not in shown["index.html"]


def test_while_hidden_one_store_reads_as_without_her_and_another_as_before(out):
    path = out / "data" / "matside.sqlite"
    with Store(path) as store, Store(path) as other, store.without(store.lapsed(TODAY)):
        assert store.lapsed(TODAY) == {GONE: YESTERDAY}
        for read in (store.readings, store.lean_readings, store.attempts, store.athletes):
            assert GONE not in set(read()["athlete"])
        assert GONE in set(other.readings()["athlete"])
        assert set(store.roster()["athlete"]) == {GONE, STAYS}, "she still trains"


@pytest.mark.parametrize("command", [["athlete", GONE], ["share", "he-01", "page.html"]])
def test_asked_for_by_name_it_says_why_in_one_line(out, command, monkeypatch, capsys):
    monkeypatch.chdir(out)
    monkeypatch.setattr("sys.argv", ["matside", *command, "--out", str(out)])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 4
    assert f"HE-01: consent ran out on {YESTERDAY}" in capsys.readouterr().err and not (out / "page.html").exists()
