"""Holds and cartwheels of the benchmark's renderer for the near looks: labels lie where joints are drawn, and say the angles that the stage holds
true."""

from __future__ import annotations

import time
from colorsys import rgb_to_hsv
from dataclasses import replace

import numpy as np
import pytest

from pipeline.bench import staged_holds
from pipeline.bench.__main__ import main as command
from pipeline.bench.scenes import FLOORS, HUES, MORE, TAUGHT, WALLS, bodies
from pipeline.bench.staged_holds import crops, film, fine_cut, hold_bodies, hold_scene, is_checked, labelled, what_of
from pipeline.landmarks.crops import Crop
from pipeline.landmarks.track import INDEX, NAMES
from pipeline.landmarks.tuning.labels import LABEL, SIZE, split
from pipeline.landmarks.tuning.near_store import FINE, PIXELS, WIDE, NearStore
from pipeline.landmarks.tuning.poses import Kind
from pipeline.stage.camera import Camera
from pipeline.stage.clothes import Outfit
from pipeline.stage.hall import Hall
from pipeline.stage.phone import Phone
from pipeline.stage.scene import Acted, act, pictures, refilmed
from pipeline.vocabulary import Side, Skill

STAND, LUNGE, CARTWHEEL = 1, 5, 0  # numbers of scenes that show one; of bodies to train on
SHOWN = [("holds", LUNGE), ("holds", STAND), ("cartwheels", CARTWHEEL)]


def acted(seed: int = 0) -> Acted:
    """A standing body of which only the joints are known, 3 m ahead of a level phone; one moment."""
    rng = np.random.default_rng(seed)
    world = rng.normal((0, 0, 0.7), 0.25, (33, 3))
    world[[11, 12]], world[[23, 24]] = [[0.1, 0.1, 1.0], [-0.1, -0.1, 1.0]], [[0.06, 0.1, 0.6], [-0.06, -0.1, 0.6]]
    turn = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    camera = Camera(turn[None], np.array([[0.1, -3.0, 0.9]]), np.array([600.0]), 640, 480)
    return Acted(None, None, camera, np.array([0]), (), {name: world[None, k] for name, k in INDEX.items()}, {}, rng)  # type: ignore[arg-type]


def test_a_crop_is_5_trunks_wide_upright_and_its_labels_lie_where_the_joints_are():
    one, rng = acted(), np.random.default_rng(1)
    flat, _ = one.camera.project(np.stack([one.joints[name][0] for name in NAMES]), 0)
    trunk = np.linalg.norm(flat[[11, 12]].mean(0) - flat[[23, 24]].mean(0))
    sides, tilts = [], []
    for _ in range(40):
        crop, row = labelled(one, 0, (640, 480), rng)
        np.testing.assert_allclose(crop.to_picture(row["xy"] - 0.5) + 0.5, flat, atol=1e-3)
        assert np.abs(row["xy"][[23, 24]].mean(0) - SIZE / 2).max() < 0.15 * SIZE / WIDE
        sides.append(crop.side / trunk)
        tilts.append(row["tilt"])
    assert np.exp(np.log(sides).mean()) == pytest.approx(WIDE, rel=0.02) and np.std(np.log(sides)) == pytest.approx(0.03, abs=0.015)
    assert abs(np.mean(tilts)) < 1.5 and 1 < np.std(tilts) < 4


@pytest.mark.parametrize("side", [180.0, 330.0, 900.0])
def test_a_spot_is_in_the_fine_crop_where_its_label_says(side):
    picture, crop = np.zeros((480, 640, 3), np.uint8), Crop(330.0, 250.0, side, 0.5)
    at = np.array([345.0, 262.0])
    picture[int(at[1]) - 2 : int(at[1]) + 3, int(at[0]) - 2 : int(at[0]) + 3] = 255
    fine = fine_cut(picture, crop)[:, :, 0].astype(float)
    spot = np.array([(fine.sum(0) * np.arange(PIXELS)).sum(), (fine.sum(1) * np.arange(PIXELS)).sum()]) / fine.sum() + 0.5
    assert fine.shape == (PIXELS, PIXELS) and np.linalg.norm(spot / FINE - (crop.to_crop(at) + 0.5)) < 0.2


def test_beyond_the_picture_it_is_black():
    fine = fine_cut(np.full((100, 100, 3), 200, np.uint8), Crop(0.0, 50.0, 100.0, 0.0))
    assert fine[:, : PIXELS // 2 - 4].max() == 0 and fine[4:-4, PIXELS // 2 + 4 : -4].min() == 200


def test_bodies_are_not_those_the_benchmark_learns_from_or_reports_on_and_every_seventh_is_kept_for_checking():
    known = hold_bodies()
    assert len(known) == 200 and known[:60] == bodies("tune", TAUGHT)
    first = [0, *(start for start, _ in MORE["tune"] if start < TAUGHT)]
    judged = {shape for start in first for shape in bodies("tune", start)}
    judged |= {shape for start in (0, *(start for start, _ in MORE["report"])) for shape in bodies("report", start)}
    assert not judged & set(known)
    assert sum(is_checked(k) for k in range(200)) == 29 and all(shape.years > 12 for shape in known[-10:])


@pytest.mark.parametrize("shown", ["holds", "cartwheels"])
def test_scenes_are_always_the_same_and_films_of_one_differ(shown):
    one, who, rng = hold_scene(8, shown)
    again, same, _ = hold_scene(8, shown)
    assert one == again and who == same and one.shape == hold_bodies()[who]
    first, second = film(one, what_of(8, shown), rng), film(one, what_of(8, shown), rng)
    assert first.styles == second.styles == one.styles and first.faces == second.faces
    assert first.outfit != second.outfit and first.hall != second.hall and first.shot != second.shot and first.seed != second.seed


@pytest.mark.parametrize("what", ["lunge", "cartwheel"])
def test_halls_and_colours_are_those_of_the_part_to_tune_on(what):
    """No kind of wall or floor that only the reporting part has, and no colour of its half of the circle."""
    one, _, rng = hold_scene(CARTWHEEL if what == "cartwheel" else LUNGE, "cartwheels" if what == "cartwheel" else "holds")
    films = [film(one, what, rng) for _ in range(40)]
    assert {f.hall.wall_kind for f in films} == set(WALLS["tune"]) and {f.hall.floor_kind for f in films} == set(FLOORS["tune"])
    worn = [(o.top, o.bottom) for f in films for o in (f.outfit, *(extra.outfit for extra in f.extras))]
    colours = [c for pair in worn for c in pair] + [c for f in films for c in (f.hall.floor, f.hall.mat, f.hall.wall, f.hall.wall_band)]
    assert any(f.extras for f in films) and HUES["report"] == 0.5
    hues = np.array([rgb_to_hsv(*colour)[0] for colour in colours])
    assert hues.min() >= 0 and 0.45 < hues.max() <= 0.5 + 1e-9


def test_crops_of_bodies_to_check_on_stay_apart_and_a_run_cut_off_goes_on_with_the_next_scene(tmp_path, monkeypatch):
    shown: list[int] = []
    asked: set[str] = set()

    def scene(number: int, what: str):
        asked.add(what)
        return None, 3 if number == 2 else 4, None

    def drawn(number: int, films: int, each: int, what: str):
        shown.append(number)
        asked.add(what)
        for _ in range(films * each):
            row = np.zeros((), LABEL)
            row["height"] = number
            yield np.zeros((PIXELS, PIXELS, 3), np.uint8), row

    monkeypatch.setattr(staged_holds, "crops", drawn)
    monkeypatch.setattr(staged_holds, "as_worker", lambda: None)
    monkeypatch.setattr(staged_holds, "hold_scene", scene)
    NearStore.make(tmp_path, crops=5, workers=1)
    staged_holds._work(1, 2, "cartwheels", tmp_path, 0, time.time() + 60)
    store = NearStore.load(tmp_path, "a test")
    numbers = lambda ring: split(ring.labels[ring.kept(ring.drawn())])["height"].ravel().tolist()  # noqa: E731
    assert shown == [0, 1, 2] and numbers(store.pool) == [0, 0, 1, 1] and numbers(store.check) == [2]
    assert store.scenes(0) == 2  # the third was cut off
    staged_holds._work(1, 2, "cartwheels", tmp_path, 0, time.time() + 60)
    assert shown == [0, 1, 2]  # it is full
    assert asked == {"cartwheels"}


def test_a_folder_begun_with_other_numbers_is_said_in_one_line(tmp_path, monkeypatch, capsys):
    NearStore.make(tmp_path, crops=4, workers=2)
    monkeypatch.setattr("sys.argv", ["bench", "staged-holds", "--out", str(tmp_path), "--crops", "6"])
    assert command() == 1
    said = capsys.readouterr().err
    assert "begun for 4 crops of holds by 2 workers" in said and said.count("\n") == 1


def test_a_folder_begun_for_holds_refuses_cartwheels_in_one_line(tmp_path, monkeypatch, capsys):
    NearStore.make(tmp_path, crops=4, workers=2)
    before = (tmp_path / "store.json").read_text()
    monkeypatch.setattr(
        "sys.argv", ["bench", "staged-holds", "--out", str(tmp_path), "--shown", "cartwheels", "--crops", "4", "--workers", "2"]
    )
    assert command() == 1
    said = capsys.readouterr().err
    assert "4 crops of holds by 2" in said and "asked for 4 of cartwheels by 2" in said and said.count("\n") == 1
    assert (tmp_path / "store.json").read_text() == before


@pytest.mark.parametrize("shown", ["holds", "cartwheels"])
def test_workers_draw_what_the_command_is_asked_to_show(tmp_path, monkeypatch, shown):
    asked = []
    monkeypatch.setattr(NearStore, "fill", lambda store, work, *, minutes: asked.append(work.args) or 0)
    monkeypatch.setattr(staged_holds, "hold_bodies", tuple)
    told = ("--shown", shown) if shown != "holds" else ()
    monkeypatch.setattr("sys.argv", ["bench", "staged-holds", "--out", str(tmp_path), "--films", "2", "--each", "4", *told])
    assert command() == 0 and asked == [(2, 4, shown)]


@pytest.fixture(scope="module")
def render() -> None:
    for needed in ("anny", "torch", "moderngl"):
        pytest.importorskip(needed, reason="drawing needs the extra `render`")


@pytest.mark.parametrize(
    ("shown", "number", "kind"), [(*at, kind) for at, kind in zip(SHOWN, (Kind.LUNGE, Kind.SHOULDER_STAND, Kind.CARTWHEEL), strict=True)]
)
def test_crops_show_holds_and_cartwheels_of_the_kind_they_say(render, shown, number, kind, monkeypatch):
    """Upright in the crop; in the phone's picture stands and cartwheels are upside down in all of the key window."""
    upside_down: list[bool] = []

    def cut(played: Acted, i: int, *more):
        out, (attempt,), t = labelled(played, i, *more), played.attempts, played.movement.t[i]
        if attempt.key[0] <= t <= attempt.key[1]:
            upside_down.append(abs(np.degrees(out[0].angle)) > 90)
        assert attempt.key[0] - 0.16 < t < attempt.key[1] + 0.16
        return out

    monkeypatch.setattr(staged_holds, "labelled", cut)
    made = list(crops(number, 1, 3, shown))
    assert 1 <= len(made) <= 3 and len(upside_down) >= 2
    assert set(upside_down) == {kind is not Kind.LUNGE}
    for picture, row in made:
        assert picture.shape == (PIXELS, PIXELS, 3) and picture.std() > 5
        assert list(Kind)[int(row["kind"])] is kind and 0.9 < row["height"] < 2 and row["person"] == 1


@pytest.mark.parametrize(("shown", "number"), SHOWN)
def test_the_athlete_is_drawn_where_the_labels_are(render, shown, number):
    """Against the same hall with the athlete moved out of sight, the crop changes at every hip, knee and shoulder of the label."""
    one, _, rng = hold_scene(number, shown)
    played = act(one)
    filmed = replace(film(one, what_of(number, shown), rng), extras=(), outfit=Outfit(), hall=Hall(), phone=Phone(noise=0, soft=0))
    seen = refilmed(filmed, played.body, played.movement, played.joints, played.low, np.random.default_rng(filmed.seed))
    key = next(a for a in seen.attempts if a.span.skill in staged_holds.SKILLS).key
    seen.frames = np.array([int(np.argmin(np.abs(seen.movement.t - np.mean(key))))])
    gone = replace(seen, movement=seen.movement.turned(0.0, (0.0, -60.0)))
    crop, row = labelled(seen, int(seen.frames[0]), (filmed.shot.width, filmed.shot.height), rng)
    here, empty = (fine_cut(next(iter(pictures(filmed, a))), crop).astype(int) for a in (seen, gone))
    changed = np.abs(here - empty).max(axis=2) > 8
    for name in ("left_hip", "right_hip", "left_knee", "right_knee", "left_shoulder", "right_shoulder"):
        x, y = np.floor(row["xy"][INDEX[name]] * FINE).astype(int)
        assert changed[max(0, y - 3) : y + 4, max(0, x - 3) : x + 4].any(), name
    assert changed.mean() < 0.5  # and not everywhere


@pytest.mark.parametrize(("shown", "number"), SHOWN)
def test_angles_of_the_labels_are_the_stages_truth(render, shown, number):
    """The median over the hold of what labels say, moment by moment, is the true detail; of a cartwheel's knees the least, in space."""
    import torch

    from pipeline.landmarks.tuning.near_angles import true_angles

    one, _, rng = hold_scene(number, shown)
    seen = act(one)
    attempt = next(a for a in seen.attempts if a.span.skill in staged_holds.SKILLS)
    t = seen.movement.t
    rows = [labelled(seen, int(i), (one.shot.width, one.shot.height), rng)[1]
            for i in np.flatnonzero((t >= attempt.key[0] - 1e-9) & (t <= attempt.key[1] + 1e-9))]  # fmt: skip
    angles, other = true_angles(*(torch.tensor(np.stack([row[k] for row in rows])) for k in ("world", "xy")))
    told = np.degrees(angles.numpy()).reshape(-1, 2, 4)
    told[..., :2] = np.where(other.numpy()[:, None, None], 360 - told[..., :2], told[..., :2])
    over = np.min if shown == "cartwheels" else np.median
    middle = over(told, axis=0)  # left, right: hip to ankle, hip to knee, knee, shoulder
    true = {(d.detail, d.side): d.value for d in attempt.details}
    if attempt.span.skill is Skill.SHOULDER_STAND:
        wanted = [(("hip_angle", Side.LEFT), (0, 0)), (("hip_angle", Side.RIGHT), (1, 0)), (("hip_knee_angle", Side.LEFT), (0, 1))]
    elif attempt.span.skill is Skill.CARTWHEEL:
        wanted = [(("knee_angle", Side.LEFT), (0, 2)), (("knee_angle", Side.RIGHT), (1, 2))]
        assert abs(true[wanted[0][0]] - true[wanted[1][0]]) > 5, "one knee is not the other"
    else:
        back = 1 if attempt.span.lead is Side.LEFT else 0
        wanted = [(("hip_angle", Side.NONE), (back, 1)), (("knee_angle", Side.NONE), (back, 2)), (("shoulder_angle", Side.LEFT), (0, 3))]
    for key, at in wanted:
        assert middle[at] == pytest.approx(true[key], abs=0.05), key
