"""After forgetting, no byte that a run has written knows the athlete; the coach's own files are only listed."""

import shutil
from datetime import date

import pytest

from pipeline.batch.forget import forget_athlete, told
from pipeline.batch.pool import Outcome
from pipeline.batch.run import run_folder
from pipeline.erasing import NAMED_SOMEBODY
from pipeline.errors import MatsideError
from pipeline.reports.language import translations
from pipeline.reports.said import known, said
from pipeline.scoring.tolerances import load_tolerances
from pipeline.settings import NightSettings, Settings
from pipeline.store import ClipResult, Picture, Store
from pipeline.vocabulary import Side
from tests.batch import nights
from tests.batch.nights import TODAY, StandIn, clips_folder, contents, rows_of
from tests.clips.filming import film

ONE, TWO, THREE = "OT-01_2026-03-02_1.mp4", "HE-02_2026-03-03_1.mp4", "CU-03_2026-03-04_1.mp4"


@pytest.fixture
def out(folder, tmp_path, monkeypatch):
    """The output of a night, with landmark files, pictures and a note as real nights leave them."""
    plain = nights.made_up

    def with_files(task):
        result = plain(task)
        done = result.attempts[0]
        name = f"pictures/{done.link}_001500.jpg"
        for file in (
            task.data / "landmarks" / f"{task.content}_model_settings.parquet",
            task.data / name,
            task.data / "pictures" / f"{done.link}_1.part",
        ):
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(task.athlete.encode())
        picture = Picture("hip_angle", Side.NONE, name, 100, 100, ((1.0, 2.0), (3.0, 4.0)))
        return type(result)(**{**vars(result), "attempts": [type(done)(done.attempt, done.link, done.readings, done.curves, [picture])]})

    monkeypatch.setattr(nights, "made_up", with_files)
    out = tmp_path / "out"
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    with Store(out / "data" / "matside.sqlite") as store:
        store.add_note("OT-01", "2026-03-02", "break", "sprained")
        store.pin("OT-01", "lunge", "hip_angle", "", "")
        store.pin("HE-02", "lunge", "hip_angle", "", "")
        store.add_note("HE-02", "2026-03-02", "growth", "two shoe sizes")
    return out


def knows(out, words):
    """Files below `out` in whose name or bytes any of the words is."""
    return sorted(
        str(path.relative_to(out))
        for path in out.rglob("*")
        if path.is_file() and any(word in path.name or word.encode() in path.read_bytes() for word in words)
    )


def test_nothing_is_left_of_the_athlete_and_all_of_the_others(folder, out):
    theirs = [row for row in contents(out) if "HE-02" in str(row)]
    assert "data/matside.sqlite" in knows(out, ["OT-01"]) and "data/run.log" in knows(out, ["OT-01"])
    content = Store(out / "data" / "matside.sqlite").known()[ONE].content
    done = forget_athlete("ot-01", out, load_tolerances())
    assert knows(out, ["OT-01", content, "sprained"]) == []
    assert (done.clips, done.landmarks, done.pictures) == ([ONE], 1, 2) and done.log_lines >= 1
    assert done.pages == ["athletes/OT-01.html"] and (out / "athletes" / "HE-02.html").is_file()
    assert [row for row in contents(out) if "HE-02" in str(row)] == theirs
    assert len(Store(out / "data" / "matside.sqlite").notes()) == 1
    assert list(Store(out / "data" / "matside.sqlite").pins()["athlete"]) == ["HE-02"], "the coach's own focus goes with the athlete"
    assert list(Store(out / "data" / "matside.sqlite").roster()["athlete"]) == ["CU-03", "HE-02"]
    assert "HE-02" in (out / "practice.html").read_text("utf-8")
    assert (folder / ONE).is_file() and done.sources == [folder / ONE] and done.deleted_sources == []
    report = "\n".join(told(done, "OT-01"))
    assert str(folder / ONE) in report and "roster" in report


def test_what_the_coach_said_chose_and_played_goes_with_the_athlete_and_nothing_of_the_others(folder, out):
    """Pins, verdicts by eye with their history, score sheets, the sheet for practice, routines' lines, rows still to fill in."""
    from pipeline.practice.points_plan import load_plan
    from pipeline.reports.points_page import who_may_be_there, write_blank, write_filled

    (out / "clips_to_fill_in.csv").write_text("clip,athlete,date,skill,setting\nOT-01_x.mp4,OT-01,,,\nIMG_1.MOV,,,,\n")
    (out / "data" / "pictures" / ".OT-01_half.77.part").write_bytes(b"OT-01")
    (out / "unassigned.html").write_text("<p>OT-01_x.mp4: when was it filmed?</p>")
    with Store(out / "data" / "matside.sqlite") as store:
        links = {row.athlete: row.link for row in store.attempts().itertuples()}
        for verdict, when in (("met", "2026-03-05T20:00:00"), ("not yet", "2026-03-06T20:00:00")):
            store.add_eye([(links[code], "hip_angle", "", verdict, when) for code in ("OT-01", "HE-02")])
        store.add_note("Herons", "2026-03-02", "drill", "wall lunges, shown by OT-01")
        store.add_note("Herons", "2026-03-03", "drill", "wall lunges, shown by OT-011")
        profile, plan = load_tolerances(), load_plan()
        write_filled(store, profile, out, plan, since="2026-03-02", until="2026-03-04")
        write_blank(store, profile, out, plan, who_may_be_there(store, "2026-03-04"))
    assert len(list((out / "points").glob("*"))) == 4
    done = forget_athlete("OT-01", out, load_tolerances())
    assert knows(out, ["OT-01_", "sprained"]) == [] and knows(out, ["OT-01<", '"OT-01"', ">OT-01", ",OT-01,", "OT-01."]) == []
    assert len(done.sheets) == 4 and "score sheets" in "\n".join(told(done, "OT-01")).lower()
    assert done.said == {"notes": 1, "pins": 1, "verdicts": 2}
    assert "Of what you had said of OT-01: notes 1, pins 1, verdicts 2." in told(done, "OT-01")
    assert (out / "clips_to_fill_in.csv").read_text() == "clip,athlete,date,skill,setting\nIMG_1.MOV,,,,\n"
    with Store(out / "data" / "matside.sqlite") as store:
        assert list(store.eye()["athlete"]) == ["HE-02", "HE-02"] and list(store.pins()["athlete"]) == ["HE-02"]
        assert list(store.notes()["text"]) == ["two shoe sizes", "wall lunges, shown by OT-011"]
    assert "HE-02" in (out / "practice.html").read_text("utf-8") and "HE-02" in (out / "eye.html").read_text("utf-8")


def test_an_athlete_of_whom_only_a_note_is_left(folder, out):
    with Store(out / "data" / "matside.sqlite") as store:
        store.erase([ONE])
        store.unpin("OT-01")
        store.set_roster([])
        assert "sprained" in set(store.notes()["text"])
    forget_athlete("OT-01", out, load_tolerances())
    assert knows(out, ["sprained"]) == []


def test_a_clip_given_to_another_athlete_leaves_nothing_of_the_first_but_keeps_what_the_coach_said_of_it(folder, out):
    with Store(out / "data" / "matside.sqlite") as store:
        link = store.attempts("OT-01")["link"].iloc[0]
        store.add_eye([(link, "hip_angle", "", "met", "2026-03-05T20:00:00")])
    (folder / "clips.csv").write_text(f"clip,athlete\n{ONE},HE-02\n")
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    assert knows(out / "data" / "pictures", ["OT-01"]), "pictures of the attempt under its first name"
    forget_athlete("OT-01", out, load_tolerances())
    assert not knows(out / "data" / "pictures", ["OT-01"])
    with Store(out / "data" / "matside.sqlite") as store:
        said = store.eye()
        assert list(said["athlete"]) == ["HE-02"] and list(said["link"]) == [link.replace("OT-01", "HE-02")]
        assert link.replace("OT-01", "HE-02") in set(store.attempts("HE-02")["link"])


def test_a_log_line_on_a_clip_that_never_came_goes_too(folder, out):
    (folder / "clips.csv").write_text("clip,athlete\nOT-01_2026-03-07_9.mp4,OT-01\nOT-012_2026-03-07_9.mp4,\n")
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    assert "OT-01_2026-03-07_9.mp4" in (out / "data" / "run.log").read_text()
    forget_athlete("OT-01", out, load_tolerances())
    log = (out / "data" / "run.log").read_text()
    assert "OT-01_" not in log and "OT-012_2026-03-07_9.mp4" in log


def test_the_clips_themselves_go_only_when_asked(folder, out):
    done = forget_athlete("OT-01", out, load_tolerances(), delete_clips=True)
    assert done.deleted_sources == [folder / ONE] and not (folder / ONE).exists()
    assert (folder / TWO).exists() and (folder / "roster.csv").exists()


def test_an_unknown_athlete_is_told_with_those_that_are_known(out):
    with pytest.raises(MatsideError, match=r"OT-99: nothing is stored.*CU-03, HE-02, OT-01"):
        forget_athlete("OT-99", out, load_tolerances())


def test_a_code_inside_another_code_is_left_alone(tmp_path):
    folder = clips_folder(tmp_path, ("OT-1_2026-03-02_1.mp4", "OT-11_2026-03-02_1.mp4"))
    (folder / "roster.csv").write_text("athlete,cohort,lead_side,consent_until\nOT-1,Otters,,2027-01-01\nOT-11,Otters,,2027-01-01\n")
    run_folder(folder, tmp_path / "out", engine=StandIn(), today=TODAY)
    forget_athlete("OT-1", tmp_path / "out", load_tolerances())
    assert list(rows_of(tmp_path / "out")) == ["OT-11_2026-03-02_1.mp4"]
    assert "OT-11_2026-03-02_1.mp4" in (tmp_path / "out" / "data" / "run.log").read_text()


def test_the_same_clip_of_two_athletes_keeps_the_others_landmarks(tmp_path, folder, out):
    """A content that another stored clip shares (a file that was given to somebody else) is not pulled from under it."""
    with Store(out / "data" / "matside.sqlite") as store:
        known = store.known()[ONE]
        store.put(ClipResult("copy.mp4", known.content, "HE-02", "Herons", "2026-03-02", "measured"))
    assert forget_athlete("OT-01", out, load_tolerances()).landmarks == 0


def keeping(days):
    return Settings(night=NightSettings(keep_days=days))


def test_old_results_go_by_age_and_their_clips_are_not_measured_anew(folder, out):
    engine = StandIn()
    done = run_folder(folder, out, engine=engine, today=date(2026, 3, 13), settings=keeping(10))
    assert done.forgotten == 1 and engine.asked == []
    assert rows_of(out)[ONE] == ("skipped", "older than the 10 days that results are kept")
    assert {clip for clip, (status, _) in rows_of(out).items() if status == "measured"} == {TWO, THREE}
    assert not list((out / "data" / "pictures").glob("OT-01*"))


def test_notes_pins_and_words_on_gone_clips_go_by_age_too(folder, out):
    with Store(out / "data" / "matside.sqlite") as store:
        store.pin("HE-02", "cartwheel", "knee_angle", "", "2026-03-02")
        link = store.attempts("HE-02")["link"].iloc[0]
        store.add_eye([(link, "hip_angle", "", "met", "2026-03-02T20:00:00")])
        store.add_note("HE-02", "2026-03-12", "growth", "new shoes")
        store.remove(TWO)
    run_folder(folder, out, engine=StandIn({TWO: Outcome(None, fault="crashed")}), today=date(2026, 3, 15), settings=keeping(10))
    with Store(out / "data" / "matside.sqlite") as store:
        assert list(store.notes()["text"]) == ["new shoes"] and store.eye().empty
        assert set(store.pins()["skill"]) == {"lunge"}, "until they are taken off"


def test_a_clock_that_jumps_removes_nothing_that_night(folder, out):
    run_folder(folder, out, engine=StandIn(), today=TODAY, settings=keeping(100))
    done = run_folder(folder, out, engine=StandIn(), today=date(2026, 12, 1), settings=keeping(100))
    assert done.forgotten == 0
    assert [s for s, _ in rows_of(out).values()].count("measured") == 3


def test_interrupted_forgetting_is_finished_by_saying_it_again(folder, out, monkeypatch):
    erase = Store.erase
    monkeypatch.setattr(Store, "erase", lambda *_, **__: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        forget_athlete("OT-01", out, load_tolerances())
    monkeypatch.setattr(Store, "erase", erase)
    forget_athlete("OT-01", out, load_tolerances())
    assert knows(out, ["OT-01"]) == []


def test_an_output_folder_that_was_moved(folder, out, tmp_path):
    moved = tmp_path / "elsewhere"
    shutil.move(out, moved)
    forget_athlete("OT-01", moved, load_tolerances())
    assert knows(moved, ["OT-01"]) == []


@pytest.fixture
def twice(tmp_path):
    """One video under the names of two athletes, after a night: neither is measured, and each row names the other."""
    folder = clips_folder(tmp_path, ())
    film(folder / ONE)
    (folder / TWO).write_bytes((folder / ONE).read_bytes())
    run_folder(folder, tmp_path / "out", engine=StandIn(), today=TODAY)
    return folder, tmp_path / "out"


def test_a_reason_in_another_athletes_row_names_the_forgotten_one_no_longer(twice):
    folder, out = twice
    assert ONE in rows_of(out)[TWO][1] and "OT-01" in rows_of(out)[TWO][1], "the coach must know which two clips are the same"
    assert {"clips.csv", "index.html", "unassigned.html", "data/matside.sqlite"} <= set(knows(out, ["OT-01"]))
    assert len(list((out / "data" / "sheets").glob("*.jpg"))) == 6
    done = forget_athlete("OT-01", out, load_tolerances())
    assert knows(out, ["OT-01", "ot-01"]) == [] and not list((out / "data" / "sheets").iterdir())
    assert done.tables == [folder / "clips.csv"]
    assert f"  {folder / 'clips.csv'}" in told(done, "OT-01"), "the coach's own, though the run wrote the row"
    assert rows_of(out) == {TWO: ("needs you", NAMED_SOMEBODY)}, "the other's clip is accounted for all the same"
    (folder / ONE).unlink()
    (folder / "clips.csv").unlink()
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    assert rows_of(out) == {TWO: ("measured", "")} and knows(out, [ONE]) == []


def test_a_reason_that_names_only_a_file_of_hers_goes_too_whatever_the_file_is_called(tmp_path):
    folder, out = clips_folder(tmp_path, ()), tmp_path / "out"
    for name in ("Anna & co.mp4", TWO):
        (folder / name).write_bytes(b"the same")
    (folder / "clips.csv").write_text("clip,athlete,date\nAnna & co.mp4,OT-01,2026-03-02\n")
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    with Store(out / "data" / "matside.sqlite") as store:
        store.put(replace_reason(store, TWO, "the same video as Anna & co.mp4, which is measured once"))
    (out / "unassigned.html").write_text("<p>the same video as Anna &amp; co.mp4</p>")
    forget_athlete("OT-01", out, load_tolerances())
    assert knows(out, ["OT-01", "Anna"]) == [] and rows_of(out)[TWO][1] == NAMED_SOMEBODY


def replace_reason(store, clip, reason):
    known = store.known()[clip]
    return ClipResult(clip, known.content, known.athlete, known.cohort, known.date, known.status, reason)


def test_a_clip_of_two_children_is_nobodys_and_names_the_forgotten_one_no_longer(tmp_path):
    """She is off the roster, so nothing else is stored of her: neither the reason nor her code in a file name may stay."""
    folder, out = clips_folder(tmp_path, ("IMG_1.MOV", "LU-02_2026-03-02_1.mp4", TWO)), tmp_path / "out"
    rows = "".join(f"{clip},{code}\n" for clip in ("IMG_1.MOV", "LU-02_2026-03-02_1.mp4") for code in ("HE-02", "LU-02"))
    (folder / "clips.csv").write_text("clip,athlete\n" + rows)
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    assert "LU-02" in rows_of(out)["IMG_1.MOV"][1]
    done = forget_athlete("LU-02", out, load_tolerances(), delete_clips=True)
    assert knows(out, ["LU-02"]) == []
    assert done.deleted_sources == [] and done.sources == [folder / "LU-02_2026-03-02_1.mp4"], "it may be of the other one"
    assert rows_of(out) == {"IMG_1.MOV": ("skipped", NAMED_SOMEBODY), TWO: ("measured", "")}


def test_a_word_that_only_a_reason_or_a_phones_file_name_holds_is_no_athlete(tmp_path):
    folder, out = clips_folder(tmp_path, ("IMG_1.MOV", TWO)), tmp_path / "out"
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    for word in ("IMG", "athlete", "1"):
        with pytest.raises(MatsideError, match="nothing is stored about this athlete"):
            forget_athlete(word, out, load_tolerances(), delete_clips=True)
    assert (folder / "IMG_1.MOV").exists()


def test_what_stands_instead_of_a_reason_is_known_to_the_pages_and_german():
    german = said(translations("de"), NAMED_SOMEBODY)
    assert known(NAMED_SOMEBODY) and "vergessen" in german and "named" not in german
