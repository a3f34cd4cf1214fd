"""Contact sheets: only of clips that may be anybody's, three blurred moments each, taken once."""

from datetime import UTC, datetime

import cv2
import numpy as np
import pytest

from pipeline.batch.run import run_folder
from pipeline.reports.sheets import blurred
from pipeline.settings import NightSettings, Settings
from tests.batch.nights import ONE, TODAY, TWO, StandIn, clips_folder, rows_of
from tests.clips.filming import film


@pytest.fixture
def folder(tmp_path):
    folder = clips_folder(tmp_path, ())
    film(folder / "IMG_1.mp4", [i / 10 for i in range(36)], made_on=datetime(2026, 3, 2, 17, 5, tzinfo=UTC))
    (folder / "<b>IMG_2.mov").write_bytes(b"not a video")
    film(folder / "OT-01/IMG_3.mp4")  # whose is known, when is not
    film(folder / "ZZ-09_2026-03-02_1.mp4")  # not on the roster
    return folder


def test_the_page_shows_what_needs_the_coach(folder, tmp_path):
    out = tmp_path / "out"
    done = run_folder(folder, out, engine=StandIn(), today=TODAY)
    page = done.unassigned.read_text("utf-8")
    assert page.count("<img") == 3
    assert "filmed on 2 March 2026, says the camera, 3.5 s long" in page
    assert f"in {folder.name}/clips.csv and run again" in page, "there is another clips.csv beside the pages"
    assert "&lt;b&gt;IMG_2.mov" in page and "<b>IMG_2" not in page and "not a video" in page
    assert "OT-01/IMG_3.mp4" in page and "when was it filmed?" in page
    assert "ZZ-09" not in page
    pictures = sorted((out / "data" / "sheets").glob("*.jpg"))
    assert len(pictures) == 3
    greens = [cv2.imread(str(p))[80, 80, 1] for p in pictures]  # filming.film makes the green rise by 4 a frame
    assert greens == sorted(greens) and len(set(greens)) == 3, "first, middle, last"
    for picture in pictures:
        assert picture.name in page


def test_sheets_are_taken_once_and_go_when_they_are_answered(folder, tmp_path, monkeypatch):
    out = tmp_path / "out"
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    taken = {p: p.stat().st_mtime_ns for p in (out / "data" / "sheets").glob("*.jpg")}
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    assert {p: p.stat().st_mtime_ns for p in (out / "data" / "sheets").glob("*.jpg")} == taken
    (folder / "clips.csv").write_text("clip,athlete,date\nIMG_1.mp4,OT-01,2026-03-02\n<b>IMG_2.mov,skip,\nOT-01/IMG_3.mp4,,2026-03-02\n")
    done = run_folder(folder, out, engine=StandIn(), today=TODAY)
    assert done.unassigned is None and not (out / "unassigned.html").exists()
    assert not list((out / "data" / "sheets").iterdir())


@pytest.fixture
def twice(tmp_path):
    """One video under the names of two athletes, both with consent."""
    folder = clips_folder(tmp_path, ())
    film(folder / ONE)
    (folder / TWO).write_bytes((folder / ONE).read_bytes())
    return folder


def test_one_video_under_two_athletes_names_is_asked_for_in_the_table_and_shown(twice, tmp_path):
    for _run in range(2):
        done = run_folder(twice, tmp_path / "out", engine=StandIn(), today=TODAY)
        page = done.unassigned.read_text("utf-8")
        assert done.asked == twice / "clips.csv" and f"in {twice.name}/clips.csv and run again" in page
        assert done.asked.read_text() == f"clip,athlete,date,skill,setting\n{TWO},,2026-03-03,,\n{ONE},,2026-03-02,,\n"
        assert page.count("<img") == 6, "it may be of either, and both may be looked at"
        assert all("Fill in athlete in clips.csv" in reason and "skip" in reason for _, reason in rows_of(tmp_path / "out").values())


@pytest.mark.parametrize(("said_of_two", "then"), [("skip", "left out: clips.csv says skip"), ("OT-01", "which is measured once")])
def test_what_the_table_then_says_of_either_settles_it(twice, tmp_path, said_of_two, then):
    asked = run_folder(twice, tmp_path / "out", engine=StandIn(), today=TODAY).asked
    asked.write_text(asked.read_text().replace(f"{TWO},,", f"{TWO},{said_of_two},"))
    done = run_folder(twice, tmp_path / "out", engine=StandIn(), today=TODAY)
    rows = rows_of(tmp_path / "out")
    first, other = (ONE, TWO) if said_of_two == "skip" else (TWO, ONE)
    assert rows[first] == ("measured", "") and rows[other][0] == "skipped" and then in rows[other][1]
    assert done.asked is None and done.unassigned is None and not list((tmp_path / "out" / "data" / "sheets").iterdir())


def test_no_pictures_where_the_settings_say_so(folder, tmp_path):
    done = run_folder(folder, tmp_path / "out", engine=StandIn(), today=TODAY, settings=Settings(night=NightSettings(contact_sheets=False)))
    assert "<img" not in done.unassigned.read_text("utf-8")


def test_blurring_leaves_nothing_of_the_size_of_a_face():
    """Stripes as fine as a face's features in a close-up (2 % of the picture) vanish; the large colours stay."""
    x = np.arange(360)
    image = np.repeat(np.where((x // 7) % 2, 255, 0).astype(np.uint8)[None, :, None], 200, 0).repeat(3, 2)
    image[:, 180:] //= 2
    soft = blurred(image)
    assert soft[:, 40:140].std() < 3
    assert soft[:, 60].mean() > 1.8 * soft[:, 300].mean()
