"""Many readings' pages are drawn by two processes: the same to the byte as by one, and what goes wrong in the second is told."""

import pytest

import pipeline.batch.pages as pages_module
from pipeline.batch.pages import write_pages
from pipeline.batch.profile import load_profile
from pipeline.bench.made_up_nights import fill
from pipeline.errors import MatsideError
from pipeline.store import Store


def drawn(out, monkeypatch, *, from_attempts):
    """The pages of a store, by name."""
    monkeypatch.setattr(pages_module, "WORTH_A_PROCESS", from_attempts)
    with Store(out / "data" / "matside.sqlite") as store:
        write_pages(store, load_profile(()), out, changed=True)
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.suffix in (".html", ".csv")}


@pytest.fixture
def out(tmp_path):
    fill(tmp_path / "clips", tmp_path / "out", clips=60, readings_a_clip=6)
    with Store(tmp_path / "out" / "data" / "matside.sqlite") as store:
        rows = [tuple(row) for row in store.roster().itertuples(index=False)]
        store.set_roster([(*rows[0][:3], "2020-01-01"), *rows[1:]])  # one whose consent has run out is hidden in both
    return tmp_path / "out"


def test_the_pages_are_the_same_to_the_byte(out, monkeypatch):
    alone = drawn(out, monkeypatch, from_attempts=10**9)
    for name in alone:
        (out / name).unlink()
    together = drawn(out, monkeypatch, from_attempts=1)
    assert together.keys() == alone.keys() and any(name.startswith("trends/") for name in alone)
    assert [name for name in alone if alone[name] != together[name]] == []
    assert any(b'href="../athletes/' in together[name] for name in together if name.startswith("trends/"))


def test_what_fails_there_is_told_here_and_the_pages_do_not_look_done(out, monkeypatch):
    (out / "trends").write_text("a file where a folder should be")
    with pytest.raises(MatsideError, match="the pages over time cannot be drawn"):
        drawn(out, monkeypatch, from_attempts=1)
    assert not (out / "data" / pages_module.STAMP).exists()
