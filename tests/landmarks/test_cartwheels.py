"""The look at cartwheels from near by: which frames it takes, whose knees it tells, what is kept of it, and that what ships sees bent knees."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.held import cartwheels as wheels
from pipeline.attempts.held import seen_from_near
from pipeline.batch import process
from pipeline.batch.forget import forget_athlete
from pipeline.batch.process import Task, process_clip
from pipeline.batch.run import run_folder
from pipeline.bench.follow_check import read_truth
from pipeline.bench.truth_track import truth_track
from pipeline.clips.content import content_hash, stamp_of
from pipeline.clips.video import probe
from pipeline.errors import MatsideError
from pipeline.geometry import joint_angle
from pipeline.landmarks import cartwheels, holds_kept, models
from pipeline.landmarks.cache import cache_file
from pipeline.landmarks.cartwheels import AROUND_S, FRAMES, kept_file, look, looked_at, looks
from pipeline.landmarks.near import WIDE, Near
from pipeline.landmarks.near_angles import ANGLES, COUNT, STEP, AngleHead
from pipeline.landmarks.near_frames import DIGITS
from pipeline.landmarks.net import FEATURES, Guess
from pipeline.landmarks.refine import SAME_POINT
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.track import INDEX, CartwheelLook, N, Track
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store
from pipeline.vocabulary import Setting, Side, Skill
from tests.batch.nights import TODAY, StandIn, clips_folder
from tests.clips.filming import film
from tests.landmarks.heads import written

WINDOW = (0.3, 0.7)
TRUNK = 24.0  # pixels
CONTENT = "c" * 64
SAMPLES = Path(__file__).parents[2] / "sample_data"


def wheeling(left: float = 180.0, right: float = 180.0) -> np.ndarray:
    """(33, 2) pixels of a body upside down, seen from behind, its legs apart; degrees at its knees."""
    xy = np.full((N, 2), (64.0, 60.0))
    for side, sign, knee in (("left", -1, left), ("right", 1, right)):
        bend = np.radians(180.0 - knee)
        for part, at in {"shoulder": (4.0, 74.0), "elbow": (5.0, 84.0), "hip": (3.0, 50.0), "knee": (9.0, 38.0)}.items():
            xy[INDEX[f"{side}_{part}"]] = (64.0 + sign * at[0], at[1])
        hip_to_knee = np.array([6.0, -12.0])
        shank = hip_to_knee @ np.array([[np.cos(bend), np.sin(bend)], [-np.sin(bend), np.cos(bend)]])
        xy[INDEX[f"{side}_ankle"]] = (64.0 + sign * (9.0 + shank[0]), 38.0 + shank[1])
    return xy


def followed() -> Track:
    """A second of a cartwheel with straight legs at 30 frames a second."""
    xy = np.repeat(wheeling()[None], 30, axis=0)
    nothing = np.zeros(xy.shape[:2])
    return Track(np.arange(30) / 30, xy, nothing, nothing + 1, np.ones(30), nothing, (128, 96), "a.mp4")


class Sees:
    """A network that sees one body after the other, each plain and mirrored; counts how often it looked."""

    def __init__(self, bodies, scale: float = 1.0) -> None:
        self.bodies, self.scale, self.looks = [np.asarray(body) for body in bodies], scale, 0

    def read(self, pixels, crop, *, mirrored):
        assert pixels.shape == (256, 256, 3) and mirrored == bool(self.looks % 2)
        seen = self.bodies[self.looks // 2 % len(self.bodies)] * self.scale - 0.5  # pixels of a picture are counted from their middles
        self.looks += 1
        return Guess(seen, np.zeros(N), np.zeros(N), np.zeros(N), 0.0, np.zeros(2), np.zeros(2))

    def features(self):
        """0 after a plain look, 1 after a mirrored one."""
        return np.full(FEATURES, float(self.looks % 2 == 0))


@pytest.fixture
def clip(tmp_path):
    return film(tmp_path / "a.mp4")


@pytest.fixture
def still(tmp_path) -> AngleHead:
    """A head that adds nothing: knees are told as the network's points draw them."""
    return AngleHead(written(tmp_path / "still.npz"))


def seen(net, head, clip, track=None, window=WINDOW, longest_side=960) -> CartwheelLook | None:
    return look(Near(net, head), clip, followed() if track is None else track, window, longest_side=longest_side)


def test_frames_are_spread_over_the_window_and_a_little_around_it():
    track = followed()
    rows = looked_at(track, (0.1, 0.9))
    assert len(rows) == FRAMES and (rows[0], rows[-1]) == (2, 28), "from 0.05 to 0.95 seconds"
    assert set(np.diff(rows)) == {2}, "27 frames, every second one"
    assert looked_at(track, WINDOW).tolist() == sorted(set(looked_at(track, WINDOW)))
    assert track.t[looked_at(track, WINDOW)[[0, -1]]] == pytest.approx([WINDOW[0] - AROUND_S, WINDOW[1] + AROUND_S], abs=1 / 30)
    assert looked_at(track, (0.3, 0.4)).tolist() == [8, 9, 10, 11, 12, 13], "all there are"
    assert looked_at(track, (2.0, 3.0)).tolist() == []


def test_only_frames_with_a_trunk_are_looked_at_whatever_else_is_a_gap():
    track = followed()
    for row, name in ((9, "left_shoulder"), (10, "right_shoulder"), (11, "left_hip"), (12, "right_hip")):
        track.xy[row, INDEX[name]] = np.nan
    trunk = [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("shoulder", "hip")]
    track.xy[8, np.setdiff1d(np.arange(N), trunk)] = np.nan
    assert looked_at(track, (0.3, 0.4)).tolist() == [8, 13]
    track.xy[:] = np.nan
    assert looked_at(track, WINDOW).tolist() == []


@pytest.mark.parametrize("longest_side", [960, 64])
def test_each_knee_is_told_frame_by_frame(clip, still, longest_side):
    """Points held with straight legs, seen bent otherwise in each frame; whatever the size of the pictures worked on."""
    bends = [(152.0, 170.0), (155.0, 172.0), (158.0, 174.0), (161.0, 168.0), (156.0, 166.0), (153.0, 164.0)]
    net = Sees([wheeling(*bend) for bend in bends], scale=min(1.0, longest_side / 128))
    told = seen(net, still, clip, window=(0.3, 0.4), longest_side=longest_side)
    assert net.looks == 2 * len(bends)
    assert (told.start, told.end) == (0.3, 0.4) and told.t.tolist() == followed().t[8:14].tolist()
    assert told.knees == pytest.approx(np.array(bends), abs=1e-4), "left, right"


def test_a_frame_is_told_by_the_mean_of_both_looks_and_a_mirrored_one_counts_for_the_other_side(clip, tmp_path):
    """The head adds two steps to the left knee of a mirrored look: her right one."""
    adds = np.zeros(COUNT)
    adds[ANGLES.index("knee")] = -2.0
    told = seen(Sees([wheeling(150.0, 170.0)]), AngleHead(written(tmp_path / "adds.npz", where_first_is_one=adds)), clip)
    assert len(told.knees) > 10 and told.knees == pytest.approx(np.tile([150.0, 170.0 - STEP], (len(told.t), 1)), abs=1e-3)


def test_a_joint_seen_elsewhere_is_told_as_such_and_one_beyond_the_crop_not_at_all(clip, still):
    elsewhere, track = wheeling(150.0, 170.0), followed()
    elsewhere[INDEX["right_knee"], 0] += SAME_POINT * TRUNK + 0.5
    told = seen(Sees([elsewhere, wheeling(150.0, 170.0)]), still, clip, window=(0.3, 0.4))
    assert np.isposinf(told.knees[::2, 1]).all() and told.knees[1::2, 1] == pytest.approx(170.0)
    assert told.knees[:, 0] == pytest.approx(150.0)
    track.xy[10, INDEX["left_ankle"]] = (64.0 + WIDE * TRUNK / 2 + 1, 50.0)
    there = track.xy[10].copy()
    there[INDEX["right_knee"]] = elsewhere[INDEX["right_knee"]]
    told = seen(Sees([there]), still, clip, track, window=(0.33, 0.34))
    at = told.t.tolist().index(track.t[10])
    assert np.isnan(told.knees[at, 0]) and np.isposinf(told.knees[at, 1])
    assert len(told.t) == 3 and np.isposinf(np.delete(told.knees, at, axis=0)).all(), "the ankle is held elsewhere in the others"


def test_a_frame_that_the_file_lacks_is_left_out(tmp_path, still):
    gone = film(tmp_path / "gone.mp4", [i / 30 for i in range(30) if i not in (10, 12)])
    told = seen(Sees([wheeling(150.0)]), still, gone, window=(0.3, 0.4))
    assert told.t.tolist() == followed().t[[8, 9, 11, 13]].tolist() and len(told.knees) == 4


def test_where_no_frame_can_be_looked_at_nothing_is_told(clip, tmp_path, still):
    net, lost = Sees([wheeling()]), followed()
    lost.xy[:, INDEX["left_hip"]] = np.nan
    assert seen(net, still, clip, window=(2.0, 3.0)) is None
    assert seen(net, still, clip, lost) is None
    assert seen(net, still, tmp_path / "gone.mp4") is None
    assert net.looks == 0


class Loads:
    """Loads a network for cartwheels that sees the same always; counts how often."""

    def __init__(self, head: AngleHead) -> None:
        elsewhere = wheeling(150.1234567891, 170.0)
        elsewhere[INDEX["right_knee"], 0] += SAME_POINT * TRUNK + 0.5
        self.net = Sees([elsewhere, wheeling(151.9876543219, 173.3)])
        self.head, self.models = head, []

    def __call__(self, model) -> Near:
        self.models.append(model)
        return Near(self.net, self.head)


@pytest.fixture
def loads(monkeypatch, still) -> Loads:
    loads = Loads(still)
    monkeypatch.setattr(cartwheels.Near, "load", loads)
    return loads


def partly_beyond() -> Track:
    """The left ankle lies beyond the crop in some frames of the window."""
    track = followed()
    track.xy[10:13, INDEX["left_ankle"], 0] = 64.0 + WIDE * TRUNK / 2 + 1
    return track


def same(one: tuple[CartwheelLook, ...], other: tuple[CartwheelLook, ...]) -> bool:
    assert [(a.start, a.end) for a in one] == [(b.start, b.end) for b in other]
    for a, b in zip(one, other, strict=True):
        assert_array_equal(a.t, b.t)
        assert_array_equal(a.knees, b.knees)
    return True


def test_what_was_told_is_kept_and_read_back_to_the_last_bit(clip, tmp_path, loads):
    import pyarrow.parquet as pq

    at = (clip, CONTENT, partly_beyond(), [WINDOW], LandmarkSettings(), tmp_path / "kept")
    first = looks(*at)
    (told,) = first
    assert np.isnan(told.knees).any() and np.isposinf(told.knees).any() and np.isfinite(told.knees).any()
    assert told.knees.shape == (len(told.t), 2) and len(told.t) > 10
    assert_array_equal(told.knees, np.round(told.knees, DIGITS))
    looked = loads.net.looks
    assert same(looks(*at), first)
    assert loads.models == [models.cartwheel_model(models.landmark_model("tuned"), "heavy")], "loaded once"
    assert loads.net.looks == looked == 2 * len(told.t)
    assert list((tmp_path / "kept").iterdir()) == [kept_file(CONTENT, LandmarkSettings(), tmp_path / "kept")]
    rows = pq.read_table(kept_file(CONTENT, LandmarkSettings(), tmp_path / "kept"))
    assert rows.column_names == ["start", "end", "track", "t", "left", "right"] and len(rows) == len(told.t)
    assert rows["left"].null_count == np.isnan(told.knees[:, 0]).sum() > 0 == rows["right"].null_count


def test_a_window_of_which_one_knee_or_both_are_never_told_is_kept_too(clip, tmp_path, loads):
    for sides in (["left"], ["left", "right"]):
        track = followed()
        track.xy[:, [INDEX[f"{side}_ankle"] for side in sides], 0] = 64.0 + WIDE * TRUNK / 2 + 1
        at = (clip, CONTENT, track, [WINDOW], LandmarkSettings(), tmp_path / "-".join(sides))
        first = looks(*at)
        assert np.isnan(first[0].knees[:, : len(sides)]).all()
        before = loads.net.looks
        assert same(looks(*at), first) and loads.net.looks == before


def test_a_broken_or_foreign_file_is_looked_at_again_and_written_anew(clip, tmp_path, loads):
    import pyarrow as pa
    import pyarrow.parquet as pq

    at = (clip, CONTENT, followed(), [WINDOW], LandmarkSettings(), tmp_path / "kept")
    file, first = kept_file(CONTENT, LandmarkSettings(), tmp_path / "kept"), looks(*at)
    whole, foreign = file.read_bytes(), pq.read_table(file)
    words = foreign.set_column(foreign.column_names.index("left"), "left", pa.array(["bent"] * len(foreign)))
    for number, table in enumerate((None, foreign.drop_columns(["right"]), pa.table({"a": [1]}), words), 2):
        file.write_bytes(whole[:40]) if table is None else pq.write_table(table, file)
        assert same(looks(*at), first) and len(loads.models) == number
        assert same(looks(*at), first) and len(loads.models) == number, "it was written whole"
    assert file.read_bytes() == whole


def test_another_track_is_looked_at_anew_and_the_first_one_still_known(clip, tmp_path, loads):
    at, moved = (LandmarkSettings(), tmp_path / "kept"), replace(followed(), xy=followed().xy + 0.25)
    looks(clip, CONTENT, followed(), [WINDOW], *at)
    count = loads.net.looks
    looks(clip, CONTENT, moved, [WINDOW], *at)
    assert loads.net.looks == 2 * count
    later = followed()
    later.xy[25:] += 0.25
    for track in (followed(), moved, later):
        assert len(looks(clip, CONTENT, track, [WINDOW], *at)) == 1
    assert loads.net.looks == 2 * count, "points outside the window do not count"


def test_a_window_whose_last_bits_another_machine_works_out_otherwise_is_known_again(clip, tmp_path, loads):
    at = (LandmarkSettings(), tmp_path / "kept")
    looks(clip, CONTENT, followed(), [WINDOW], *at)
    count, otherwise = loads.net.looks, (float(np.nextafter(WINDOW[0], 9)), float(np.nextafter(WINDOW[1], 0)))
    (told,) = looks(clip, CONTENT, followed(), [otherwise], *at)
    assert loads.net.looks == count and (told.start, told.end) == otherwise != WINDOW, "and told of the window as it is asked for"
    looks(clip, CONTENT, followed(), [(WINDOW[0] + 1e-4, WINDOW[1])], *at)
    assert loads.net.looks > count, "another window is another one"


def test_two_cartwheels_of_a_clip_are_kept_beside_each_other(clip, tmp_path, loads):
    at, other = (LandmarkSettings(), tmp_path / "kept"), (0.1, 0.2)
    both = looks(clip, CONTENT, followed(), [WINDOW, other], *at)
    assert [(told.start, told.end) for told in both] == [WINDOW, other] and len(both[1].t) < len(both[0].t)
    assert both[1].t.max() <= 0.2 + AROUND_S < both[0].t.max()
    assert same(looks(clip, CONTENT, followed(), [other, WINDOW], *at), both[::-1]), "as they are asked for"
    assert same(looks(clip, CONTENT, followed(), [other], *at), both[1:])
    count = loads.net.looks
    third = looks(clip, CONTENT, followed(), [(0.8, 0.9), WINDOW], *at)
    assert loads.net.looks == count + 2 * len(third[0].t), "only the one that is new"
    assert same(looks(clip, CONTENT, followed(), [other, WINDOW], *at), both[::-1]) and len(loads.models) == 2


def test_one_that_cannot_be_looked_at_is_left_out_and_looked_for_again(clip, tmp_path, loads):
    at = (LandmarkSettings(), tmp_path / "kept")
    assert looks(tmp_path / "gone.mp4", CONTENT, followed(), [WINDOW], *at) == ()
    assert not at[1].exists(), "a clip that cannot be read now may be read later"
    assert [told.start for told in looks(clip, CONTENT, followed(), [(2.0, 3.0), WINDOW], *at)] == [WINDOW[0]]


def test_without_cartwheels_a_chosen_or_an_installed_network_nothing_is_told(clip, tmp_path, loads, monkeypatch, caplog):
    at, kept = (clip, CONTENT, followed()), tmp_path / "kept"
    assert looks(*at, [], LandmarkSettings(), kept) == ()
    assert looks(*at, [WINDOW], LandmarkSettings(near_look=False), kept) == ()
    assert looks(*at, [WINDOW], LandmarkSettings(model="wheel"), kept) == (), "it marks other points"
    for lacks in ("CARTWHEELS", "CARTWHEELS_ANGLES"):
        with monkeypatch.context() as lacking:
            lacking.setattr(models, lacks, f"no_{lacks}.file")
            models._say_once.cache_clear()
            for _ in range(2):
                assert looks(*at, [WINDOW], LandmarkSettings(), kept) == (), lacks
            assert len([r for r in caplog.records if f"no_{lacks}.file is not installed: nobody looks" in r.getMessage()]) == 1
    assert loads.models == [] and not kept.exists()
    assert len(looks(*at, [WINDOW], LandmarkSettings(), kept)) == 1


def test_the_file_s_name_begins_as_the_track_s_and_tells_what_was_looked_with(tmp_path, monkeypatch):
    track, first = (of(CONTENT, LandmarkSettings(), tmp_path) for of in (cache_file, kept_file))
    assert first.parent == track.parent and first.name.startswith(track.stem + "_") and first.name.split("_")[0] == CONTENT[:32]
    assert first not in (track, holds_kept.kept_file(CONTENT, LandmarkSettings(), tmp_path))
    others = {kept_file("d" * 64, LandmarkSettings(), tmp_path), kept_file(CONTENT, LandmarkSettings(near_look=False), tmp_path)}
    for name, value in (("METHOD", -1), ("FRAMES", 3)):
        with monkeypatch.context() as changed:
            changed.setattr(cartwheels, name, value)
            others.add(kept_file(CONTENT, LandmarkSettings(), tmp_path))
    monkeypatch.setattr(models, "CARTWHEELS_ANGLES", models.NEAR_ANGLES)
    others.add(kept_file(CONTENT, LandmarkSettings(), tmp_path))
    assert len(others) == 5 and first not in others


def test_who_forgets_an_athlete_forgets_what_was_told_of_her_knees(clip, tmp_path, loads):
    names = ("OT-01_2026-03-02_1.mp4", "OT-02_2026-03-02_1.mp4")
    folder, out = clips_folder(tmp_path, names), tmp_path / "out"
    (folder / "roster.csv").write_text("athlete,cohort,lead_side,consent_until\nOT-01,Otters,,2027-01-01\nOT-02,Otters,,2027-01-01\n")
    run_folder(folder, out, engine=StandIn(), today=TODAY)
    with Store(out / "data" / "matside.sqlite") as store:
        contents = [store.known()[name].content for name in names]
    files = [kept_file(content, LandmarkSettings(), out / "data" / "landmarks") for content in contents]
    for content in contents:
        looks(clip, content, followed(), [WINDOW], LandmarkSettings(), out / "data" / "landmarks")
    assert all(file.is_file() for file in files)
    assert forget_athlete("OT-01", out, load_tolerances()).landmarks == 1
    assert [file.exists() for file in files] == [False, True]


def attempt(skill: Skill, start: float, end: float) -> Attempt:
    return Attempt(skill, 1, 0.0, 1.0, start, end, 1, Side.LEFT, Setting.ALONE, 0.9)


def test_cartwheels_alone_are_looked_at_and_no_point_moves(clip, tmp_path, loads, monkeypatch):
    of = {skill: attempt(skill, 0.3 + 0.01 * k, 0.7) for k, skill in enumerate(Skill)}
    window = (of[Skill.CARTWHEEL].key_start_s, of[Skill.CARTWHEEL].key_end_s)
    assert wheels(of.values()) == [window]
    assert wheels([attempt(Skill.CARTWHEEL, 0.5, 0.5)]) == []
    track, at = followed(), (LandmarkSettings(), tmp_path / "kept")
    after = seen_from_near(clip, CONTENT, track, [of[Skill.BACKWARD_ROLL], of[Skill.CARTWHEEL]], *at)
    assert_array_equal(after.xy, track.xy)
    assert same(after.cartwheels, looks(clip, CONTENT, track, [window], *at)) and after.looks == ()
    assert track.cartwheels == () == seen_from_near(clip, CONTENT, track, [of[Skill.BACKWARD_ROLL]], *at).cartwheels
    held = []
    monkeypatch.setattr(
        holds_kept, "with_holds", lambda path, content, track, holds, *_: held.append(holds) or replace(track, xy=track.xy + 1)
    )
    after = seen_from_near(clip, CONTENT, track, list(of.values()), *at)
    assert len(held[0]) == 3 and window not in held[0]
    assert (after.xy == track.xy + 1).all() and [(told.start, told.end) for told in after.cartwheels] == [window]
    assert len(loads.models) == 1, "the cartwheel is known, as it was followed"


def test_nothing_told_is_kept_of_a_clip_that_changed_meanwhile(clip, tmp_path, loads, monkeypatch):
    monkeypatch.setattr("pipeline.landmarks.cache.cached_track", lambda *_, **__: followed())
    monkeypatch.setattr("pipeline.attempts.find.find_attempts", lambda *_, **__: [attempt(Skill.CARTWHEEL, *WINDOW)])
    settings, data = LandmarkSettings(), tmp_path / "data"
    task = Task("a.mp4", clip, content_hash(clip), "OT-01", "Otters", "2026-03-02", settings, data, stamp=stamp_of(clip))
    file, measured = kept_file(task.content, settings, data / "landmarks"), []

    def measure(task, track, attempt):
        measured.append((track.cartwheels, file.is_file()))
        if len(measured) == 1:
            with clip.open("ab") as grows:
                grows.write(b"more")
        return process.AttemptResult(attempt, "link")

    monkeypatch.setattr(process, "_measured", measure)
    with pytest.raises(MatsideError, match="the file changed"):
        process_clip(task)
    ((told,), there), *_ = measured
    assert (told.start, told.end) == WINDOW and there, "measured with what is told"
    assert not file.exists()
    process_clip(replace(task, stamp=stamp_of(clip)))
    assert file.is_file()


@pytest.mark.parametrize("sample", ["CU-01_2026-03-11_1", "HE-03_2026-03-10_2"])
def test_the_network_that_ships_sees_a_bent_knee_of_a_drawn_cartwheel(sample, tmp_path):
    """Measured in November 2026, median over 14 frames of how far knees are told from their angles in space: 5.3 left and 7.2 right, 0.8 and
    0.9 degrees (all ten legs of five samples: 0.8 to 7.2). The picture draws the first one's right knee 31.5 degrees too straight."""
    path = SAMPLES / "clips" / f"{sample}.mp4"
    video = probe(path)
    file = SAMPLES / "truth" / f"{sample}.csv"
    track, (t, xy, world) = truth_track(file, (video.width, video.height)), read_truth(file)
    with (SAMPLES / "truth.csv").open(encoding="utf-8") as lines:
        row = next(r for r in csv.DictReader(lines) if Path(r["clip"]).stem == sample)
    window = (float(row["key_start_s"]), float(row["key_end_s"]))
    (told,) = looks(path, content_hash(path), track, [window], LandmarkSettings(), tmp_path)
    assert len(told.t) == FRAMES and np.isfinite(told.knees).all()
    rows = np.searchsorted(t, told.t - 1e-6)
    assert t[rows] == pytest.approx(told.t, abs=1e-6)
    corners = [[INDEX[f"{side}_{part}"] for part in ("hip", "knee", "ankle")] for side in ("left", "right")]
    space, picture = (
        np.stack([joint_angle(*(of[rows][:, joint] for joint in corner)) for corner in corners], axis=1) for of in (world, xy)
    )
    assert (np.median(np.abs(told.knees - space), axis=0) < (12.0 if sample.startswith("CU") else 4.0)).all()
    assert np.median(told.knees[:, 1]) < np.median(told.knees[:, 0]) - 15, "the right one is bent"
    assert np.median(space[:, 1]) < 145
    if sample.startswith("CU"):
        assert np.median(np.abs(picture - space), axis=0)[1] > 25, "what points cannot show"
