"""Everything a coach may edit, as a broken or hostile program writes it: one clear line or a clean reading, never a traceback, never a
line that looks like two, never a character that plays tricks on a terminal."""

import os
import unicodedata

import pytest

from pipeline.attempts.routine import load_routines
from pipeline.batch.run import run_folder
from pipeline.clips.clip_list import ask, load_clip_list
from pipeline.clips.roster import load_roster
from pipeline.errors import MatsideError
from pipeline.practice import eye
from pipeline.practice.points_plan import load_plan
from pipeline.practice.points_table import read_points
from pipeline.practice.settings import load_practice
from pipeline.scoring.tolerances import load_tolerances
from pipeline.settings import load_settings
from pipeline.store import Store
from tests.batch.nights import TODAY, StandIn, clips_folder

CELLS = {
    "html": "<script>alert(1)</script>",
    "formula": '=HYPERLINK("http://x","y")',
    "quotes": "\"'`;--",
    "newline": "OT-01\nHE-02",
    "return": "OT-01\rforged line",
    "rtl": "OT-01\u202e10-TO",
    "escape": "\x1b[2J\x1b[1;31mOT-01",
    "nul": "OT-\x0001",
    "zero width": "OT\u200b-01",
    "huge": "9" * 50_000,
    "path": "../../etc/passwd",
    "digits": "٣",  # a digit to Python's isdigit and \d
    "line separator": "OT-01\u2028x",
}
TABLES = {
    "roster": ("athlete,cohort,lead_side,consent_until", ["OT-01", "Otters", "left", "2027-01-01"]),
    "clips": ("clip,athlete,date,skill,setting", ["a.mp4", "OT-01", "2026-03-02", "lunge", "alone"]),
    "eye": ("link,detail,side,eye", ["LINK", "hip_angle", "", "met"]),
    "eye by clip": ("clip,attempt,detail,side,eye", ["OT-01_2026-03-02_1.mp4", "1", "hip_angle", "", "met"]),
    "points": ("team,athlete,round,points", ["Seals", "OT-01", "1", "1"]),
}
TOMLS = {"points.toml": load_plan, "practice.toml": load_practice, "routines.toml": load_routines, "settings.toml": load_settings,
         "tolerances.toml": load_tolerances}  # fmt: skip


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    """A finished night, whose store the eye's tables are checked against."""
    home = tmp_path_factory.mktemp("night")
    run_folder(clips_folder(home), home / "out", engine=StandIn(), today=TODAY)
    with Store(home / "out" / "data" / "matside.sqlite") as store:
        yield store


def read(kind, path, night):
    """What the program says of a table: problems, notices or its one error."""
    try:
        if kind == "roster":
            return list(load_roster(path).problems)
        if kind == "clips":
            found = load_clip_list(path.parent, path.parent / "out")
            return [told.problem for told in found.told.values() if told.problem] + found.unknown(["a.mp4"])
        if kind.startswith("eye"):
            eye.read_said(night, path)
        else:
            read_points(path, load_plan())
    except MatsideError as error:
        return [str(error)]
    return []


def is_one_clear_line(said: str, *, longest: int = 700):
    tricks = {c for c in said if unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")}
    assert not tricks, f"{said[:300]!r}"
    assert 10 < len(said) < longest, said[:300]


def link_of(night):
    return night.attempts("OT-01")["link"].iloc[0]


def file_for(kind, tmp_path):
    return tmp_path / ("clips.csv" if kind == "clips" else "table.csv")


@pytest.mark.parametrize("kind", TABLES)
@pytest.mark.parametrize("cell", CELLS)
def test_a_hostile_cell_in_any_column(tmp_path, night, kind, cell):
    import csv

    header, good = TABLES[kind]
    good = [link_of(night) if one == "LINK" else one for one in good]
    path = file_for(kind, tmp_path)
    for column in range(len(good)):
        with open(path, "w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow(header.split(","))
            writer.writerow([CELLS[cell] if i == column else one for i, one in enumerate(good)])
        for said in read(kind, path, night):
            is_one_clear_line(said)


@pytest.mark.parametrize("kind", TABLES)
@pytest.mark.parametrize("cell", CELLS)
def test_a_hostile_header(tmp_path, night, kind, cell):
    import csv

    header, good = TABLES[kind]
    path = file_for(kind, tmp_path)
    for columns in ([CELLS[cell], *header.split(",")[1:]], [*header.split(","), CELLS[cell]]):
        with open(path, "w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([columns, [*good, "x"]])
        for said in read(kind, path, night):
            is_one_clear_line(said)


@pytest.mark.parametrize("kind", TABLES)
@pytest.mark.parametrize(
    "data",
    [
        b"", b"\n\n\n", b"\xef\xbb\xbf", b"\xff\xfe", b"\xff\xfe\x00", b"\x00" * 1000, bytes(range(256)) * 10, b"PK\x03\x04" + bytes(500),
        b'"' * 999, b"," * 5000, b"\r" * 100, b'athlete,"unfinished\nOT-01', "\u202e".encode(), b"\xfe\xff\xd8\x00",
    ],
    ids=["empty", "blank lines", "BOM", "UTF-16 BOM", "half UTF-16", "nul", "bytes", "spreadsheet", "quotes", "commas", "returns", "open quote", "rtl", "lone surrogate"],
)  # fmt: skip
def test_files_that_are_no_table(tmp_path, night, kind, data):
    path = file_for(kind, tmp_path)
    path.write_bytes(data)
    said = read(kind, path, night)
    assert len(said) == 1
    is_one_clear_line(said[0])


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has neither")
@pytest.mark.parametrize("kind", [*TABLES, *TOMLS])
@pytest.mark.parametrize("never_ends", ["pipe", "device", "far too large"])
def test_what_never_ends_in_place_of_a_table_is_one_line(tmp_path, night, kind, never_ends):
    """A pipe that nobody writes to would be waited for, /dev/zero and a film given by mistake would fill the memory."""
    path = tmp_path / kind if kind in TOMLS else file_for(kind, tmp_path)
    if never_ends == "pipe":
        os.mkfifo(path)
    elif never_ends == "device":
        path.symlink_to("/dev/zero")
    else:
        with path.open("wb") as film:
            film.truncate(1 << 40)  # takes no room
    if kind in TOMLS:
        with pytest.raises(MatsideError) as caught:
            TOMLS[kind](path)
        said = [str(caught.value)]
    else:
        said = read(kind, path, night)
    assert len(said) == 1 and path.name in said[0]
    is_one_clear_line(said[0])


@pytest.mark.parametrize("kind", ["roster", "clips", "eye", "points"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be-bom", "cp1252"])
def test_every_encoding_that_spreadsheets_write_reads_the_same(tmp_path, night, kind, encoding):
    header, good = TABLES[kind]
    good = [link_of(night) if one == "LINK" else "Ötter" if one in ("Otters", "Seals") else one for one in good]
    rows = [header, ",".join(good)] + (["Tümmler,HE-02,1,1"] if kind == "points" else [])
    text = "\r\n".join(rows) + "\r\n"
    path = file_for(kind, tmp_path)
    path.write_bytes(b"\xfe\xff" + text.encode("utf-16-be") if encoding == "utf-16-be-bom" else text.encode(encoding))
    assert read(kind, path, night) == []
    if kind == "roster":
        assert load_roster(path).find("OT-01").cohort == "Ötter"
    if kind == "points":
        assert list(read_points(path, load_plan())[0]) == ["Ötter", "Tümmler"]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be-bom", "cp1252"])
def test_rows_are_asked_for_in_the_files_own_encoding(tmp_path, encoding):
    """The coach's rows stay to the byte, and both hers and ours are read again."""
    path = tmp_path / "clips.csv"
    text = "clip;athlete;date\r\nÜbung.mp4;OT-01;2026-03-02\r\n"
    old = b"\xfe\xff" + text.encode("utf-16-be") if encoding == "utf-16-be-bom" else text.encode(encoding)
    path.write_bytes(old)
    ask(load_clip_list(tmp_path, tmp_path / "out"), [("neu.mp4", "", "2026-03-03")])
    assert path.read_bytes().startswith(old)
    assert set(load_clip_list(tmp_path, tmp_path / "out").told) == {"Übung.mp4", "neu.mp4"}


@pytest.mark.parametrize("kind", ["roster", "clips", "eye", "points"])
def test_a_column_twice_is_said_and_not_guessed(tmp_path, night, kind):
    header, good = TABLES[kind]
    first = header.split(",")[1]
    path = file_for(kind, tmp_path)
    path.write_text(f"{header},{first}\n{','.join(good)},other\n")
    said = read(kind, path, night)
    assert len(said) == 1 and f"the column {first} is there twice" in said[0]


@pytest.mark.parametrize("name", TOMLS)
@pytest.mark.parametrize(
    "data",
    [
        b"\xff\xfea\x00", b"\xff", "a = 'Ü'".encode("cp1252"), b"= = =", b"[", b"\x00", b"a" * 100_000, b"[[[[", b'"\x1b[2J" = 1', b"a = [" * 3000,
        '"<script>" = "\u202e"'.encode(), b"minutes = 9999999999999999999999", b"routine = 3", b"[points]\nmet = '<b>'", b"[[routine]]\nname = '''a\nb'''\nskills=['x']",
        b"[night]\nworkers = '\\u001b[2J'", b'[night]\nworkers = "\\u001b[2J"', b'[rounds."a\\nb"]\nlunge = 3', b"[lunge.hip_angle]\nmet_within = 'x'", b"a.b.c.d = 1\na = 2",
        b"a = " + b"[" * 100_000, b"a = " + b"{a = " * 10_000, b"[night]\nlimit_s = nan", b"[landmarks]\nfind_per_second = nan",
        b"[lunge.hip_angle]\nmet_within = nan", b"[lunge.hip_angle]\nmet_within = 1e999", b"[night]\nretries = " + b"9" * 4000,
        b"minutes = " + b"9" * 5000, b"minutes = 0x" + b"f" * 5000, b"[night]\nretries = 0x" + b"f" * 5000,
        b"[lunge.hip_angle]\nmet_within = 0x" + b"f" * 5000, b"[points]\nmet = 0x" + b"f" * 5000, b"[[routine]]\nname = 0x" + b"f" * 5000,
        b"[profile]\nname = [" + b"1," * 5000 + b"]", b"[lunge.hip_angle]\nkind = []", b"[lunge.hip_angle]\nasked_in = {}", b"[profile]\nover = []",
        b"[[routine]]\nname = 'a'\nskills = [[], {}]", b"[points]\nlunge = [[]]", b"[teams]\nuneven = []", b"[[rounds]]\nlunge = {}", b"stations = [[]]",
        b"[landmarks]\nsecond_look = []", b"lunge = 1\ncartwheel = 1979-05-27T07:32:00Z", b"[teams]\ndraw = 1979-05-27",
    ],
)  # fmt: skip
def test_a_hostile_toml_is_one_clear_line(tmp_path, name, data):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(MatsideError) as caught:
        TOMLS[name](path)
    for line in str(caught.value).split("\n"):  # some tell of several keys, a line each
        is_one_clear_line(line)
        assert name in line


@pytest.mark.parametrize("name", ["points.toml", "practice.toml", "routines.toml", "settings.toml"])
def test_a_byte_order_mark_is_passed_over(tmp_path, name):
    from pipeline.config_files import shipped_config

    path = tmp_path / name
    path.write_bytes(b"\xef\xbb\xbf" + shipped_config(name).read_bytes())
    TOMLS[name](path)


def test_names_of_routines_and_teams_run_nothing_and_stay_on_their_line(tmp_path):
    path = tmp_path / "routines.toml"
    path.write_text('[[routine]]\nname = "<script>alert(1)</script>"\nskills = ["lunge", "cartwheel"]\n')
    assert load_routines(path)[0].name == "<script>alert(1)</script>", "kept as text; the pages write it as text"
    path.write_text('[[routine]]\nname = "a\\nb"\nskills = ["lunge"]\n')
    with pytest.raises(MatsideError, match=r"routine 1, name: expected a name"):
        load_routines(path)


def test_a_whole_night_on_hostile_tables_says_plain_lines_and_writes_plain_pages(tmp_path, capsys, monkeypatch):
    """Roster, clips.csv and clips' names at once, through the command: every clip a row, every row of a table accounted for."""
    import csv
    import re
    import sys

    import pipeline.batch.run as run_module
    from pipeline import cli
    from tests.batch.nights import rows_of

    folder = clips_folder(tmp_path, ("OT-01_2026-03-02_1.mp4", "OT-01_2026-03-02_<img src=x onerror=alert(1)>.mp4", "=cmd|calc.mp4"))
    with open(folder / "roster.csv", "a", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["OT-07", cell, "left", "2099-01-01"] for cell in CELLS.values()])
        csv.writer(file).writerow(["HE-09", "<script>alert(1)</script>", "", "2099-01-01"])
    for number in range(len(CELLS)):
        (folder / f"IMG_{number}.mp4").write_bytes(str(number).encode())
    (folder / "HE-09_2026-03-02_1.mp4").write_bytes(b"he")
    with open(folder / "clips.csv", "w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerow(["clip", "athlete", "date", "skill", "setting"])
        csv.writer(file).writerows([f"IMG_{n}.mp4", cell, "2026-03-02", "", ""] for n, cell in enumerate(CELLS.values()))
        csv.writer(file).writerows([cell, "OT-01", cell, cell, cell] for cell in CELLS.values())
    real = run_module.run_folder
    monkeypatch.setattr(run_module, "run_folder", lambda *a, **k: real(*a, **{**k, "engine": StandIn(), "today": TODAY}))
    monkeypatch.setattr(sys, "argv", ["matside", "run", str(folder), "--out", str(tmp_path / "out")])
    with pytest.raises(SystemExit) as end:
        cli.main()
    assert end.value.code == 3
    said = capsys.readouterr()
    for line in (said.out + said.err).split("\n"):
        assert not {c for c in line if unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")} and len(line) < 1000, line[:200]
    rows = rows_of(tmp_path / "out")
    assert len(rows) == 4 + len(CELLS) and all(reason for status, reason in rows.values() if status != "measured")
    for name in (f"IMG_{n}.mp4" for n in range(len(CELLS))):
        assert rows[name][0] in ("skipped", "needs you"), name
    for page in (tmp_path / "out").rglob("*.html"):
        text = page.read_text("utf-8")
        assert "<script>alert" not in text and not re.search(r"<img[^>]*onerror", text), page
    for table in (tmp_path / "out").glob("*.csv"):
        with open(table, newline="", encoding="utf-8") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        risky = [c for c in cells if c.startswith(("=", "+", "@", "\t", "\r")) or (c.startswith("-") and not re.fullmatch(r"-[\d.]+", c))]
        assert not risky, (table, risky[:3])
