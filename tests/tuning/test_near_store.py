"""Drawn holds and cartwheels kept for the near looks: what is put in comes out, bodies to check on apart, and a run that was cut off goes on."""

import time
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import MatsideError
from pipeline.landmarks.tuning import near_holds
from pipeline.landmarks.tuning.__main__ import main as command
from pipeline.landmarks.tuning.labels import LABEL, split
from pipeline.landmarks.tuning.near_artist import NearArtist
from pipeline.landmarks.tuning.near_holds import fill_near_holds
from pipeline.landmarks.tuning.near_store import FINE, PIXELS, WIDE, NearStore
from pipeline.landmarks.tuning.poses import Kind
from pipeline.landmarks.tuning.ring import Ring


def crop(number: int) -> tuple[np.ndarray, np.ndarray]:
    """A crop in one shade, and a label that says the same number."""
    row = np.zeros((), LABEL)
    row["height"], row["person"] = number, 1
    return np.full((PIXELS, PIXELS, 3), number, np.uint8), row


def heights(ring: Ring) -> set[float]:
    return set(split(ring.labels[ring.kept(ring.drawn())])["height"].ravel().tolist())


def put_in(folder: Path, me: int, ends: float) -> None:
    """A worker of the tests: crops of its own numbers until its share is full, every third to check on."""
    store = NearStore.load(folder, "a test")
    while store.drawn(me) < store.share and time.time() < ends:
        number = 10 * (me + 1) + store.drawn(me)
        store.add(me, *crop(number), checked=number % 3 == 0)


def fail(folder: Path, me: int, ends: float) -> None:
    raise MatsideError("scene 7: it would not be drawn")


def test_workers_fill_their_shares_and_bodies_to_check_on_stay_apart(tmp_path):
    store = NearStore.make(tmp_path, crops=8, workers=2)
    assert store.fill(put_in, minutes=1) == 8
    again = NearStore.load(tmp_path, "a test")
    assert heights(again.pool) == {10, 11, 13, 20, 22, 23} and heights(again.check) == {12, 21}
    pictures, labels = again.pool.batch(np.random.default_rng(0), 40, again.pool.drawn())
    np.testing.assert_array_equal(pictures[:, 5, 5, 0], split(labels)["height"].ravel())
    assert len(np.unique(pictures[:, 5, 5, 0])) == 6  # all of them are shown


def test_a_store_that_was_cut_off_is_filled_up_and_nothing_is_drawn_twice(tmp_path):
    store = NearStore.make(tmp_path, crops=8, workers=2)
    store.add(0, *crop(10), checked=False)
    store.add(0, *crop(11), checked=False)
    assert NearStore.make(tmp_path, crops=8, workers=2).fill(put_in, minutes=1) == 8
    assert heights(store.pool) == {10, 11, 13, 20, 22, 23}
    assert store.fill(put_in, minutes=1) == 8  # it is full


def test_what_a_worker_raises_is_told(tmp_path):
    with pytest.raises(MatsideError, match="scene 7"):
        NearStore.make(tmp_path, crops=2, workers=2).fill(fail, minutes=1)


def test_other_numbers_a_missing_store_and_another_version_say_what_to_do(tmp_path):
    with pytest.raises(MatsideError, match="make-them --out"):
        NearStore.load(tmp_path, "make-them")
    with pytest.raises(MatsideError, match="at least one worker"):
        NearStore.make(tmp_path, crops=1, workers=2)
    NearStore.make(tmp_path, crops=4, workers=2)
    with pytest.raises(MatsideError, match=r"begun for 4 crops of holds by 2 workers.*for 4 of holds by 1.*or another folder"):
        NearStore.make(tmp_path, crops=4, workers=1)
    (tmp_path / "store.json").write_text('{"crops": 4, "workers": 2, "label": 3, "shown": "holds"}')
    with pytest.raises(MatsideError, match="make them again"):
        NearStore.load(tmp_path, "make-them")


def test_a_store_begun_for_holds_refuses_cartwheels_in_one_line(tmp_path):
    NearStore.make(tmp_path, crops=4, workers=2)
    with pytest.raises(MatsideError, match=r"begun for 4 crops of holds by 2 workers.*now asked for 4 of cartwheels by 2") as said:
        NearStore.make(tmp_path, crops=4, workers=2, shown="cartwheels")
    assert "\n" not in str(said.value)
    assert NearStore.make(tmp_path, crops=4, workers=2, shown="holds").share == 2, "it goes on with holds"


def test_a_store_begun_for_cartwheels_goes_on_with_them_and_refuses_holds(tmp_path):
    NearStore.make(tmp_path, crops=4, workers=2, shown="cartwheels")
    assert NearStore.make(tmp_path, crops=4, workers=2, shown="cartwheels").share == 2
    with pytest.raises(MatsideError, match=r"begun for 4 crops of cartwheels by 2 workers.*now asked for 4 of holds by 2"):
        NearStore.make(tmp_path, crops=4, workers=2)


@pytest.mark.parametrize("kind", [Kind.LUNGE, Kind.SHOULDER_STAND, Kind.CARTWHEEL])
def test_what_is_drawn_stands_upright_in_a_fine_crop_with_its_joints_in_the_body(bodies, compiler, kind, monkeypatch):
    artist, drawn, inside = NearArtist(bodies, [0, 1, 2, 3], 5), [], []
    paint = artist._paint
    monkeypatch.setattr(artist, "_paint", lambda *a: drawn.append(paint(*a)) or drawn[-1])
    for _ in range(6):
        image, label = artist.draw(kind, gentle=True)
        _, picture, scale, _ = drawn[-1]
        assert image.shape == (PIXELS, PIXELS, 3) and picture.size == round(256 * scale) and scale == 2 * FINE
        x, y = np.floor(label["xy"][[11, 12, 23, 24, 25, 26]] * scale).astype(int).T
        inside.append((picture.face.reshape(picture.size, picture.size) >= 0)[y, x].mean())
        hips, shoulders = label["xy"][[23, 24]].mean(0), label["xy"][[11, 12]].mean(0)
        up = shoulders - hips
        assert np.hypot(*up) == pytest.approx(256 / WIDE, rel=0.2) and abs(up[0]) < 0.25 * -up[1]
        assert np.abs(hips - 128).max() < 0.15 * np.hypot(*up)
    assert np.mean(inside) > 0.97


def drawn(bodies, shown: str, count: int) -> np.ndarray:
    """Labels of what the tuning room's artist draws where nobody says which kind."""
    artist = NearArtist(bodies, [0, 1, 2, 3], 5, shown)
    return np.array([artist.draw(gentle=True)[1] for _ in range(count)])


def across(rows: np.ndarray) -> np.ndarray:
    """(n, 3) directions from the right shoulder to the left one, in the crop's axes: to its right, down, away."""
    line = rows["world"][:, 11] - rows["world"][:, 12]
    return line / np.linalg.norm(line, axis=1, keepdims=True)


def test_cartwheels_are_drawn_from_the_front_or_from_behind_and_nothing_else_is(bodies, compiler):
    """The line of the shoulders lies across the view, the left one to the right in the upright crop from the front and to the left from behind."""
    rows = drawn(bodies, "cartwheels", 40)
    assert set(rows["kind"].astype(int)) == {list(Kind).index(Kind.CARTWHEEL)}
    x, away = across(rows)[:, 0], np.abs(across(rows)[:, 2])
    assert np.median(np.abs(x)) > 0.85 and (np.abs(x) > away).mean() > 0.9
    assert 0.15 < (x < 0).mean() < 0.5, "some from behind, most from the front"


def test_holds_are_drawn_from_the_side_and_no_cartwheel_among_them(bodies, compiler):
    rows = drawn(bodies, "holds", 24)
    assert set(rows["kind"].astype(int)) == {list(Kind).index(k) for k in (Kind.LUNGE, Kind.SHOULDER_STAND)}
    x, away = np.abs(across(rows)[:, [0, 2]]).T
    assert np.median(away) > 0.8 and (away > x).mean() > 0.9


@pytest.mark.parametrize(("shown", "kinds"), [("holds", (Kind.LUNGE, Kind.SHOULDER_STAND)), ("cartwheels", (Kind.CARTWHEEL,))])
def test_the_tuning_rooms_store_holds_what_was_asked_for_and_a_body_to_check_on_is_never_trained_on(
    tmp_path, bodies, compiler, shown, kinds
):
    path = tmp_path / "bodies.npz"
    np.savez(
        path, vertices=bodies.vertices, heads=bodies.heads, faces=bodies.faces, bone_of=bodies.bone_of, weight=bodies.weight,
        bones=np.array(bodies.bones), parents=np.array(bodies.parents), phenotypes=np.zeros((len(bodies.vertices), 6)),
    )  # fmt: skip
    assert fill_near_holds(tmp_path / "holds", path, crops=24, workers=2, minutes=2, shown=shown) == 24
    NearStore.make(tmp_path / "holds", crops=24, workers=2, shown=shown)  # or says what it was begun for
    store = NearStore.load(tmp_path / "holds", "near-holds")
    rows = split(np.concatenate([r.labels[r.kept(r.drawn())] for r in (store.pool, store.check)]))
    assert set(rows["kind"].ravel().astype(int)) == {list(Kind).index(k) for k in kinds}
    checked = split(store.check.labels[store.check.kept(store.check.drawn())])["height"].ravel()
    known = {round(float(bodies.height[k]), 3) for k in bodies.members(held_out=True)}
    assert len(checked) and {round(float(h), 3) for h in checked} <= known


def test_without_bodies_it_says_how_to_make_them(tmp_path):
    with pytest.raises(MatsideError, match="tuning bodies"):
        fill_near_holds(tmp_path / "holds", tmp_path / "none.npz", crops=2, workers=1, minutes=1)
    assert not (tmp_path / "holds").exists()


def test_nonsense_to_show_is_said_in_one_line(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["tuning", "near-holds", "--shown", "nonsense", "--out", str(tmp_path / "holds")])
    with pytest.raises(SystemExit) as end:
        command()
    said = capsys.readouterr()
    assert end.value.code == 1 and not said.out and said.err == "--shown nonsense: expected one of holds, cartwheels.\n"
    assert not (tmp_path / "holds").exists()


@pytest.mark.parametrize("shown", ["holds", "cartwheels"])
def test_near_holds_draws_what_it_is_asked_to_show(tmp_path, monkeypatch, capsys, shown):
    asked = []
    monkeypatch.setattr(near_holds, "fill_near_holds", lambda *a, **more: asked.append(more["shown"]) or 7)
    monkeypatch.setattr("sys.argv", ["tuning", "near-holds", "--out", str(tmp_path), *(("--shown", shown) if shown != "holds" else ())])
    with pytest.raises(SystemExit) as end:
        command()
    assert not end.value.code and asked == [shown] and capsys.readouterr().out == f"{tmp_path}: 7 crops\n"
