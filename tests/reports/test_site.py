"""The written site: safe, complete, true to the store, the same from run to run."""

import csv
import io
import re
import shutil
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest

from pipeline.errors import MatsideError
from pipeline.reports.site import write_site
from pipeline.scoring.tolerances import load_tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import ClipResult, Store
from pipeline.vocabulary import Skill
from tests.reports import invented

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{7*7}}\u202eevil&amp;\n=cmd()"


class Page(HTMLParser):
    """What a page holds: elements with attributes, ids, links, and its text."""

    def __init__(self, path: Path) -> None:
        super().__init__(convert_charrefs=True)
        self.path, self.elements, self.ids, self.text, self.open = path, [], [], [], []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self.ids += [value for name, value in attrs if name == "id"]
        self.open.append(tag)

    def handle_endtag(self, tag):
        if tag in self.open:
            while self.open.pop() != tag:
                pass

    def handle_data(self, data):
        if not {"style", "script"} & set(self.open):
            self.text.append(data)

    @property
    def links(self) -> list[str]:
        return [a[name] for _tag, a in self.elements for name in ("href", "src", "poster") if a.get(name)]

    @property
    def words(self) -> str:
        return "".join(self.text)


def pages(out: Path) -> list[Page]:
    return [Page(path) for path in sorted(out.rglob("*.html"))]


def test_every_page_is_there(site):
    names = {path.relative_to(site).as_posix() for path in site.rglob("*.html")}
    athletes = {f"athletes/{invented.code(i)}.html" for i in range(6)}
    assert names == {
        "index.html",
        "latest.html",
        "practice.html",
        "weeks/2026-W10.html",
        "weeks/2026-W11.html",
        "weeks/2026-W12.html",
        "weeks/undated.html",
        *athletes,
    }


def test_every_link_leads_somewhere_inside(site):
    by_path = {page.path.resolve(): page for page in pages(site)}
    checked = 0
    for page in by_path.values():
        for link in page.links:
            target, _, anchor = link.partition("#")
            assert not re.match(r"[a-z]+:|//", target), f"{page.path.name} leads outside: {link}"
            file = (page.path.parent / unquote(target)).resolve() if target else page.path.resolve()
            assert file.is_file(), f"{page.path.name}: {link}"
            if anchor:
                assert unquote(anchor) in by_path[file].ids, f"{page.path.name}: {link}"
            checked += 1
    assert checked > 500


def test_ids_are_unique_and_headings_named(site):
    for page in pages(site):
        assert len(page.ids) == len(set(page.ids)), page.path.name
        for _tag, attrs in page.elements:
            for ref in attrs.get("aria-labelledby", "").split():
                assert ref in page.ids, f"{page.path.name}: {ref}"
        images = [a for tag, a in page.elements if tag == "img"]
        assert all(a.get("alt") and a.get("width") and a.get("height") and a.get("loading") == "lazy" for a in images)


def test_nothing_may_load_from_outside(site):
    for page in pages(site):
        policies = [a["content"] for tag, a in page.elements if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy"]
        assert len(policies) == 1
        assert "default-src 'none'" in policies[0] and "unsafe" not in policies[0] and "http" not in policies[0]
        text = page.path.read_text(encoding="utf-8")
        assert "http://" not in text.replace('xmlns="http://www.w3.org/', "") and "https://" not in text
        assert "style=" not in text  # the policy would drop it silently


def test_numbers_on_the_pages_are_the_stores(site):
    with Store(site / "data" / "matside.sqlite") as store:
        stored = score(store.readings(), load_tolerances())
    for athlete, rows in stored.groupby("athlete"):
        page = Page(site / "athletes" / f"{athlete}.html")
        exact = sorted(float(a["value"]) for tag, a in page.elements if tag == "data")
        assert np.array_equal(exact, np.sort(rows["value"].dropna()))
        assert sum(a.get("class") == "reading" for _tag, a in page.elements) == len(rows)
        for reason in rows["reason"]:
            assert reason in page.words
    shown = [a["data-verdict"] for tag, a in Page(site / "index.html").elements if tag == "a" and "data-verdict" in a]
    latest = stored[stored["date"] >= "2026-03-16"]
    assert sorted(shown) == sorted(latest["verdict"].str.replace(" ", "-"))


def test_every_number_in_a_table_has_its_interval_beside_it(site):
    """Not in a tooltip alone: what stands in the cell is the value and its ± or range as on the attempt."""
    for name in ("index.html", "latest.html", "athletes/OT-01.html"):
        chips = re.findall(r'class="chip".*?</a>', (site / name).read_text(encoding="utf-8"))
        numbers = [chip for chip in chips if 'class="num"' in chip]
        assert numbers
        for chip in numbers:
            low_or_half = re.search(r'<span class="pm">(± [\d.]+|[\d.]+–[\d.]+|\S+ … \S+)</span>', chip)
            assert low_or_half and (low_or_half[1] in chip.split('class="verdict')[0] or "–" in low_or_half[1]), chip


def test_what_was_not_measured_is_said(site):
    index = Page(site / "index.html")
    for words in (
        "IMG_2071.MOV",
        "Nobody knows whose clip this is",
        "Consent ran out",
        "Breaks off after 1.2",
        invented.REASON,
        "Invented data.",
    ):
        assert words in index.words


def test_csv_files_lie_beside_the_index(site):
    rows = list(csv.DictReader(io.StringIO((site / "readings.csv").read_text(encoding="utf-8"), newline="")))
    with Store(site / "data" / "matside.sqlite") as store:
        assert len(rows) == len(store.readings())
    assert (site / "clips.csv").is_file()


def test_writing_again_changes_nothing_and_touches_nothing(site):
    before = {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in site.rglob("*") if path.suffix in (".html", ".csv", ".jpg")}
    with Store(site / "data" / "matside.sqlite") as store:
        write_site(store, load_tolerances(), site, site / "data", title="Saltmarsh Tumbling Club", note="Invented data.")
    assert {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in before} == before
    assert len(list(site.rglob("*.part"))) == 0


def test_new_tolerances_recolour_without_new_pictures(site, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text("[cartwheel.knee_angle]\nmet_within = 100\nclose_within = 100\n", encoding="utf-8")
    with Store(site / "data" / "matside.sqlite") as store:
        write_site(store, load_tolerances(own), tmp_path / "out", site / "data")
        legs = store.readings().query("detail == 'knee_angle' and skill == 'cartwheel'")["value"].notna().sum()
    met = sum(
        a.get("data-verdict") == "met" and "-knee_angle-" in a["href"]
        for week in ("10", "11", "12")
        for tag, a in Page(tmp_path / "out" / "weeks" / f"2026-W{week}.html").elements
        if tag == "a"
    )
    assert met == legs > 0


def test_hostile_words_stay_words(tmp_path):
    out, data = tmp_path / "out", tmp_path / "data"
    rng = np.random.default_rng(3)
    with Store(data / "matside.sqlite") as store:
        result = invented.clip_result(rng, data, "OT-01", HOSTILE, invented.FIRST_DAY, 1, Skill.LUNGE, pictures=True, attempts=1)
        hostile = replace(result, clip=f"a/{HOSTILE}.mp4", athlete=HOSTILE, reason=HOSTILE)
        store.put(hostile)
        store.put(ClipResult(f"{HOSTILE}/2.mp4", "x", HOSTILE, HOSTILE, "not a date", "needs you", HOSTILE))
        store._db.execute("UPDATE readings SET reason = ? WHERE detail = 'hip_angle'", (HOSTILE,))
        store._db.commit()
        write_site(store, load_tolerances(), out, data, title=HOSTILE, note=HOSTILE)
    written = [p for p in tmp_path.rglob("*") if p.is_file()]
    assert all(out in p.parents or data in p.parents for p in written)
    for page in pages(out):
        code = [attrs for tag, attrs in page.elements if tag == "script" and attrs.get("type") != "application/json"]
        assert len(code) <= 3 and not any(attrs for attrs in code)  # our own, which the policy names by hash
        assert not [a for _tag, attrs in page.elements for a in attrs if a.lower().startswith("on")]
        assert all("onerror" not in a.get("src", "") for tag, a in page.elements if tag == "img")
        assert "49" not in re.findall(r"\{\{7\*7\}\}|>49<", page.path.read_text(encoding="utf-8"))
        assert "<script>alert(1)</script>" in page.words
    table = list(csv.reader(io.StringIO((out / "readings.csv").read_text(encoding="utf-8"), newline="")))
    assert {len(row) for row in table} == {18}


def test_pages_of_athletes_who_are_gone_go_too_and_nothing_else(site, tmp_path):
    out = tmp_path / "site"
    shutil.copytree(site, out)
    (out / "athletes" / "notes.html").write_text("<p>mine</p>", encoding="utf-8")
    with Store(out / "data" / "matside.sqlite") as store:
        for clip in store.clips().query("athlete == 'HE-01'")["clip"]:
            store.remove(clip)
        write_site(store, load_tolerances(), out, out / "data")
    assert not (out / "athletes" / "HE-01.html").exists()
    assert (out / "athletes" / "OT-01.html").exists() and (out / "athletes" / "notes.html").exists()
    assert not [page.path for page in pages(out) if "HE-01" in page.words]


def test_an_empty_store_gives_an_index(tmp_path):
    with Store(tmp_path / "data" / "matside.sqlite") as store:
        index = write_site(store, load_tolerances(), tmp_path / "out", tmp_path / "data")
    assert "Nothing is on record yet" in index.read_text(encoding="utf-8")


def test_a_folder_that_cannot_be_written_is_one_line(tmp_path):
    (tmp_path / "out").write_text("a file", encoding="utf-8")
    with Store(tmp_path / "data" / "matside.sqlite") as store, pytest.raises(MatsideError, match="cannot be written"):
        write_site(store, load_tolerances(), tmp_path / "out", tmp_path / "data")


def test_only_where_an_angle_is_read_the_picture_shows_one(site):
    """An arc beside 42 % would be taken for the knee's angle."""
    arcs = {"knee_clearance": [], "hip_angle": []}
    for path in (site / "athletes").glob("*.html"):
        for anchor, body in re.findall(r'<article class="reading" id="([^"]+)"(.*?)</article>', path.read_text("utf-8"), re.S):
            detail = anchor.rsplit("-", 1)[1]
            if detail in arcs and 'class="over"' in body:
                arcs[detail].append('class="arc' in body)
    assert arcs["knee_clearance"] and not any(arcs["knee_clearance"])
    assert arcs["hip_angle"] and all(arcs["hip_angle"])
