"""The closer look at holds: what another network sees beside the track moves a hold's points by a known share, and nothing else."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.held import holds, seen_closer
from pipeline.bench.truth_track import truth_track
from pipeline.clips.video import probe
from pipeline.landmarks import closer_kept, models
from pipeline.landmarks.closer import EASE_S, FRAMES, NEAR_SHARE, SHARE, Seen, look_closer, looked_at, middle_half, moved
from pipeline.landmarks.closer_kept import closer_file, closer_track
from pipeline.landmarks.near import JOINTS, Near
from pipeline.landmarks.near_angles import COUNT, AngleHead, angles_by_points
from pipeline.landmarks.net import FEATURES, Guess
from pipeline.landmarks.paths import axes
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.sides import LEGS
from pipeline.landmarks.track import INDEX, N, Track
from pipeline.vocabulary import Setting, Side, Skill
from tests.clips.filming import film
from tests.landmarks.heads import written

HOLD = (0.3, 0.7)
TRUNK = 24.0  # pixels
UNSEEN, UNTOLD = np.full((N, 2), np.nan), np.full(COUNT, np.nan)
SAMPLES = Path(__file__).parents[2] / "sample_data"
SAMPLE = "OT-02_2026-03-09_1"  # a lunge


def body(turn: float = 0.0) -> np.ndarray:
    """(33, 2) pixels, limbs well apart, the trunk straight up before it is turned (degrees clockwise) about the middle of the hips."""
    xy = np.random.default_rng(3).uniform(-30, 30, (N, 2))
    for name, at in (("left_shoulder", (-3, -24)), ("right_shoulder", (3, -24)), ("left_hip", (-3, 0)), ("right_hip", (3, 0))):
        xy[INDEX[name]] = at
    a = np.radians(turn)
    return xy @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + [60.0, 50.0]


def held(turns=None) -> Track:
    """A second of a body at 30 frames a second, turned by some degrees in each frame."""
    xy = np.array([body(turn) for turn in (turns if turns is not None else np.zeros(30))])
    nothing = np.zeros(xy.shape[:2])
    return Track(np.arange(30) / 30, xy, nothing, nothing + 1, np.ones(30), nothing, (128, 96), "a.mp4")


class Sees:
    """A network that sees the body of one frame after the other; counts how often it looked."""

    def __init__(self, bodies, presence: float = 1.0) -> None:
        self.bodies, self.presence, self.looks = list(bodies), presence, 0

    def features(self):
        """How many looks there were; a thousand more for mirrored ones."""
        return np.full(FEATURES, self.looks + 1000.0 * self.mirrored)

    def read(self, pixels, crop, *, mirrored):
        assert mirrored == bool(self.looks % 2), "plain and mirrored in turn"
        self.mirrored = mirrored
        seen = self.bodies[self.looks % len(self.bodies)] - 0.5  # the working picture's pixels are counted from their middles
        self.looks += 1
        return Guess(seen, np.zeros(N), np.ones(N), np.ones(N), self.presence, np.zeros(2), np.zeros(2))


@pytest.fixture
def clip(tmp_path):
    return film(tmp_path / "a.mp4")


def look(net, clip, track, hold=HOLD):
    return look_closer(net, None, clip, track, hold, longest_side=960).beside


def test_frames_are_spread_over_the_hold_and_lie_in_it():
    rows = looked_at(held(), HOLD)
    assert len(rows) == FRAMES and rows[0] >= 9 and rows[-1] <= 21
    assert np.ptp(np.diff(rows)) <= 1 and rows[-1] - rows[0] >= 8  # 13 frames
    assert looked_at(held(), (0.3, 0.34)).tolist() == [9, 10]
    assert looked_at(held(), (2.0, 3.0)).tolist() == []
    gone = held()
    gone.xy[9:15] = np.nan
    assert looked_at(gone, HOLD)[0] == 15


@pytest.mark.parametrize("turn", [0.0, 90.0, 200.0])
def test_what_the_network_sees_is_told_in_the_trunk_s_own_frame(clip, turn):
    """A knee seen 2.4 pixels (0.1 trunks) to the right hand of an upright trunk and 4.8 further up it, however the body is turned."""
    track = held(np.full(30, turn))
    a, knee = np.radians(turn), INDEX["left_knee"]
    seen = track.xy[0].copy()
    seen[knee] += np.array([2.4, -4.8]) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    found = look(Sees([seen]), clip, track)
    assert found[knee] == pytest.approx([0.1, 0.2])
    assert np.delete(found, knee, axis=0) == pytest.approx(0.0)


def test_one_frame_in_which_the_network_errs_does_not_count(clip):
    track = held()
    wrong = track.xy[0].copy()
    wrong[INDEX["nose"]] += [6.0, 0.0]
    assert look(Sees([wrong] * 2 + [track.xy[0]] * 2 * (FRAMES - 1)), clip, track) == pytest.approx(0.0)


def test_each_frame_is_looked_at_both_ways(clip):
    track, one, other = held(), body(), body()
    one[INDEX["nose"]] += [2.4, 0.0]
    other[INDEX["nose"]] += [0.0, -2.4]
    net = Sees([one, other])
    found = look(net, clip, track, (0.3, 0.34))
    assert net.looks == 4, "two frames"
    assert found[INDEX["nose"]] == pytest.approx([0.05, 0.05])


def test_legs_named_the_other_way_round_are_turned_back(clip):
    track = held()
    left, right = LEGS
    seen = track.xy[0].copy()
    seen[[*left, *right]] = seen[[*right, *left]]
    assert look(Sees([seen]), clip, track) == pytest.approx(0.0)


def test_somebody_else_nobody_and_a_point_on_another_limb_move_nothing(clip):
    track = held()
    assert look(Sees([track.xy[0] + 25.0]), clip, track) == pytest.approx(0.0)
    assert look(Sees([track.xy[0] + 2.0], presence=0.1), clip, track) == pytest.approx(0.0)
    seen = track.xy[0] + [1.2, 0.0]
    seen[INDEX["left_wrist"]] += [12.0, 0.0]  # half a trunk
    found = look(Sees([seen]), clip, track)
    assert found[INDEX["left_wrist"]] == pytest.approx(0.0) and found[INDEX["left_knee"]] == pytest.approx([0.05, 0.0])


def test_a_hold_without_frames_in_the_file_is_left_alone(clip, tmp_path):
    assert look_closer(Sees([body()]), None, clip, held(), (2.0, 3.0), longest_side=960) is None
    assert look_closer(Sees([body()]), None, tmp_path / "gone.mp4", held(), HOLD, longest_side=960) is None


def test_features_are_kept_of_plain_and_mirrored_looks_apart(clip):
    features = look_closer(Sees([body()]), None, clip, held(), HOLD, longest_side=960).features
    assert FRAMES == 4 and features.tolist() == [[4.0] * FEATURES, [1005.0] * FEATURES], (
        "means of looks 1, 3, 5 and 7, and of 2, 4, 6 and 8"
    )
    short = look_closer(Sees([body()]), None, clip, held(), (0.3, 0.34), longest_side=960).features
    assert short.tolist() == [[2.0] * FEATURES, [1003.0] * FEATURES], "each of two frames both ways"
    nobody = look_closer(Sees([body()], presence=0.1), None, clip, held(), HOLD, longest_side=960).features
    assert nobody.shape == (2, FEATURES) and np.isnan(nobody).all()


def test_points_move_a_share_of_the_way_within_the_hold_and_gradually_beside_it():
    turns = np.linspace(0, 300, 30)
    track, offset = held(turns), np.zeros((N, 2))
    knee = INDEX["right_knee"]
    offset[knee] = [0.1, 0.2]
    track.xy[15] = np.nan
    after = moved(track, [(HOLD, Seen(offset, np.zeros((2, FEATURES)), UNSEEN, UNTOLD))])
    for row, share in ((12, 1.0), (9, 1.0), (21, 1.0), (24, 1 - 0.1 / EASE_S), (6, 1 - 0.1 / EASE_S), (0, 0.0)):
        a = np.radians(turns[row])
        way = np.array([2.4, -4.8]) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        assert after.xy[row, knee] - track.xy[row, knee] == pytest.approx(SHARE * share * way), row
    others = np.delete(np.arange(N), knee)
    assert_array_equal(after.xy[:, others], track.xy[:, others])
    assert np.isnan(after.xy[15]).all()
    for name in ("t", "z", "visibility", "presence", "disagreement"):
        assert_array_equal(getattr(after, name), getattr(track, name))


def test_two_holds_close_to_each_other_share_what_lies_between():
    track, offset = held(), Seen(np.full((N, 2), 0.1), np.zeros((2, FEATURES)), UNSEEN, UNTOLD)
    one = moved(track, [((0.1, 0.9), offset)]).xy
    two = moved(track, [((0.1, 0.45), offset), ((0.5, 0.9), offset)]).xy
    assert two[3:28] == pytest.approx(one[3:28])


def test_the_trunk_s_axes_are_its_right_hand_and_up_along_it():
    assert axes(body()[None])[0] == pytest.approx(np.array([[1.0, 0.0], [0.0, -1.0]]))
    assert axes(body(90.0)[None])[0] == pytest.approx(np.array([[0.0, 1.0], [1.0, 0.0]]), abs=1e-12)


def test_a_joint_seen_from_near_by_goes_on_from_where_the_closer_look_has_it():
    beside, near, knee = np.full((N, 2), 0.1), UNSEEN.copy(), INDEX["left_knee"]
    near[knee] = [0.3, 0.0]
    seen = Seen(beside, np.zeros((2, FEATURES)), near, UNTOLD)
    assert seen.by[knee] == pytest.approx([SHARE * 0.1 + NEAR_SHARE * (0.3 - SHARE * 0.1), SHARE * 0.1 * (1 - NEAR_SHARE)])
    assert np.delete(seen.by, knee, axis=0) == pytest.approx(SHARE * 0.1)


class SeesNear(Sees):
    """A network that looks from near by: sees one body after the other, each plain and mirrored."""

    def features(self):
        return np.zeros(FEATURES)

    def read(self, pixels, crop, *, mirrored):
        seen = self.bodies[self.looks // 2 % len(self.bodies)]
        self.looks += 1
        return Guess(seen - 0.5, np.zeros(N), np.ones(N), np.zeros(N), 0.0, np.zeros(2), np.zeros(2))


def lunging(knee_at: float = 0.0) -> np.ndarray:
    """(33, 2) pixels of the body with its limbs in order; the left knee lies so many pixels further to the right."""
    xy = body()
    for part, at in {"elbow": (6.0, -12.0), "knee": (6.0, 14.0), "ankle": (9.0, 28.0)}.items():
        for side, sign in (("left", 1), ("right", -1)):
            xy[INDEX[f"{side}_{part}"]] = (60.0 + sign * at[0], 50.0 + at[1])
    xy[INDEX["left_knee"], 0] += knee_at
    return xy


def test_the_middle_frames_are_looked_at_from_near_by(clip, tmp_path):
    assert [list(middle_half(n)) for n in range(1, 5)] == [[0], [0, 1], [0, 1, 2], [1, 2]]
    standing = lunging()
    track = replace(held(), xy=np.repeat(standing[None], 30, axis=0))
    one, other = (lunging(by) - np.array([0.0, 2.4]) for by in (1.0, 3.0))
    net = SeesNear([one, other])
    near = Near(net, AngleHead(written(tmp_path / "still.npz")))
    seen = look_closer(Sees([standing]), near, clip, track, HOLD, longest_side=960)
    assert net.looks == 2 * 2, "two frames, plain and mirrored"
    assert set(np.flatnonzero(np.isfinite(seen.near).all(axis=1))) == set(JOINTS)
    others = np.setdiff1d(JOINTS, [INDEX["left_knee"]])
    assert seen.near[others] == pytest.approx(np.tile([0.0, 0.1], (len(others), 1)))
    assert seen.near[INDEX["left_knee"]] == pytest.approx([2.0 / TRUNK, 0.1])
    assert seen.beside == pytest.approx(0.0)
    assert seen.angles == pytest.approx((angles_by_points(one) + angles_by_points(other)) / 2), "the mean of what is told in either frame"
    assert abs(angles_by_points(one)[1] - angles_by_points(other)[1]) > 5, "left hip to knee"
    alone = look_closer(Sees([standing]), None, clip, track, HOLD, longest_side=960)
    assert np.isnan(alone.near).all() and np.isnan(alone.angles).all() and alone.angles.shape == (COUNT,)


@pytest.fixture
def net(monkeypatch):
    """Everything seen 0.1 trunks to the right hand; the models' files are not loaded, and nobody looks from near by."""
    net = Sees([body() + np.array([2.4, 0.0])])
    monkeypatch.setattr(closer_kept, "LandmarkNet", lambda path: net)
    monkeypatch.setattr(models, "near_model", lambda *_: None)
    return net


def test_what_was_seen_from_near_by_is_kept_too(clip, tmp_path, net, monkeypatch):
    somebody = SimpleNamespace()
    monkeypatch.setattr(models, "near_model", lambda first, closer_look: models.landmark_model("tuned"))
    monkeypatch.setattr(closer_kept.Near, "load", lambda model: somebody)
    looked, told = [], np.array([170.12345678, 30.5, np.nan, 90.0, 359.99, 0.0, 12.25, 45.0])

    def look(net, near, path, track, hold, *, longest_side):
        looked.append(near)
        offset = UNSEEN.copy()
        offset[JOINTS[:3]] = [[0.1, 0.2], [0.3, -0.1], [0.0, 0.05]]
        return Seen(np.zeros((N, 2)), np.zeros((2, FEATURES)), offset, told)

    monkeypatch.setattr(closer_kept, "look_closer", look)
    at = (clip, "c" * 64, held(), [HOLD], LandmarkSettings(), tmp_path / "kept")
    first, again = closer_track(*at), closer_track(*at)
    assert looked == [somebody]
    assert_array_equal(again.xy, first.xy)
    (fresh,), (kept,) = first.looks, again.looks
    assert_array_equal(kept.angles, fresh.angles)
    assert_array_equal(kept.angles, np.round(told, 4), "a first run has them as a second one reads them")
    assert (kept.start, kept.end) == HOLD
    assert first.xy[15, JOINTS[0]] - held().xy[15, JOINTS[0]] == pytest.approx(NEAR_SHARE * np.array([2.4, -4.8]))
    others = np.delete(np.arange(N), JOINTS[:3])
    assert_array_equal(first.xy[:, others], held().xy[:, others])
    alone = closer_file("c" * 64, LandmarkSettings(), tmp_path)
    monkeypatch.setattr(models, "near_model", lambda *_: None)
    assert closer_file("c" * 64, LandmarkSettings(), tmp_path) != alone, "what another set of networks saw is another file"


def test_a_second_run_looks_at_no_hold_twice_and_moves_points_by_the_same(clip, tmp_path, net):
    at = (clip, "c" * 64, held(), [HOLD], LandmarkSettings(), tmp_path / "kept")
    first = closer_track(*at)
    assert first.xy[15] == pytest.approx(body() + np.array([SHARE * 2.4, 0.0])) and net.looks == 2 * FRAMES
    again = closer_track(*at)
    assert_array_equal(again.xy, first.xy)
    (fresh,), (kept,) = first.looks, again.looks
    assert_array_equal(kept.features, fresh.features)
    assert (kept.start, kept.end) == HOLD and kept.features[:, 0].tolist() == [4.0, 1005.0]
    assert np.isnan(fresh.angles).all() and np.isnan(kept.angles).all(), "nobody looked from near by"
    assert net.looks == 2 * FRAMES
    (file,) = (tmp_path / "kept").iterdir()
    assert file == closer_file("c" * 64, LandmarkSettings(), tmp_path / "kept")
    assert file.name.split("_")[0] == "c" * 32, "as the track's name begins, by which a forgotten clip's files are found"
    file.write_bytes(b"half")
    assert_array_equal(closer_track(*at).xy, first.xy)
    assert net.looks == 4 * FRAMES


def test_another_track_or_hold_is_looked_at_anew(clip, tmp_path, net):
    at = ("c" * 64, held(), [HOLD], LandmarkSettings(), tmp_path / "kept")
    closer_track(clip, *at)
    closer_track(clip, "c" * 64, replace(held(), xy=held().xy + 0.25), [HOLD], *at[3:])
    assert net.looks == 4 * FRAMES
    closer_track(clip, "c" * 64, held(), [HOLD, (0.1, 0.2)], *at[3:])
    assert net.looks == 6 * FRAMES
    closer_track(clip, *at)
    assert net.looks == 6 * FRAMES


def test_without_holds_a_chosen_or_installed_network_or_a_readable_clip_the_track_stays(clip, tmp_path, net, monkeypatch, caplog):
    track, kept = held(), tmp_path / "kept"
    assert closer_track(clip, "c" * 64, track, [], LandmarkSettings(), kept) is track
    assert closer_track(clip, "c" * 64, track, [HOLD], LandmarkSettings(closer_look="none"), kept) is track
    assert closer_track(clip, "c" * 64, track, [HOLD], LandmarkSettings(model="wheel"), kept) is track  # marks other points
    assert_array_equal(closer_track(tmp_path / "gone.mp4", "c" * 64, track, [HOLD], LandmarkSettings(), kept).xy, track.xy)
    assert not kept.exists(), "a clip that cannot be read now may be read later"
    monkeypatch.setattr(models, "CLOSER", "not_there.tflite")
    models._say_once.cache_clear()
    for _ in range(2):
        assert closer_track(clip, "c" * 64, track, [HOLD], LandmarkSettings(), kept) is track
    said = [r.getMessage() for r in caplog.records if "not_there" in r.getMessage()]
    assert len(said) == 1 and "nobody looks closer at holds" in said[0]


def test_readings_know_whether_somebody_looked_closer(monkeypatch, caplog):
    with_it = models.looked_with("tuned", "other", "heavy")
    wheels = models.cartwheel_model(models.landmark_model("tuned"), "heavy").key
    assert with_it.endswith(f"-{wheels}")
    without_near = [models.used("tuned", "other"), models.closer_model(models.landmark_model("tuned"), "heavy").key]
    for lacks in ("NEAR", "NEAR_ANGLES"):
        with monkeypatch.context() as lacking:
            lacking.setattr(models, lacks, f"no_{lacks}.file")
            models._say_once.cache_clear()
            assert models.looked_with("tuned", "other", "heavy") == "-".join([*without_near, wheels]), "neither is used without the other"
            assert f"no_{lacks}.file is not installed: nobody looks at holds from near by" in caplog.text
    for lacks in ("CARTWHEELS", "CARTWHEELS_ANGLES"):
        with monkeypatch.context() as lacking:
            lacking.setattr(models, lacks, f"no_{lacks}.file")
            models._say_once.cache_clear()
            assert with_it == f"{models.looked_with('tuned', 'other', 'heavy')}-{wheels}"
            assert f"no_{lacks}.file is not installed: nobody looks at cartwheels from near by" in caplog.text
    assert with_it != models.looked_with("tuned", "other", "none") == models.used("tuned", "other")
    monkeypatch.setattr(models, "CLOSER", "not_there.tflite")
    assert models.looked_with("tuned", "other", "heavy") == models.used("tuned", "other")
    assert models.near_model(models.landmark_model("tuned"), "heavy") is None, "only beside the closer look"
    assert models.cartwheel_model(models.landmark_model("tuned"), "heavy") is None
    assert LandmarkSettings(closer_look="none").key() == LandmarkSettings().key(), "the track itself is the same"


def test_held_skills_are_looked_at(clip, tmp_path, net):
    def attempt(skill: Skill, start: float, end: float) -> Attempt:
        return Attempt(skill, 1, 0.0, 1.0, start, end, 1, Side.LEFT, Setting.ALONE, 0.9)

    all_of_them = [attempt(skill, 0.3, 0.7) for skill in Skill]
    assert len(holds(all_of_them)) == 3 and set(holds(all_of_them)) == {HOLD}
    assert holds([attempt(Skill.CARTWHEEL, 0.3, 0.7), attempt(Skill.BACKWARD_ROLL, 0.3, 0.7), attempt(Skill.LUNGE, 0.5, 0.5)]) == []
    lunge = [attempt(Skill.LUNGE, *HOLD)]
    after = seen_closer(clip, "c" * 64, held(), lunge, LandmarkSettings(), tmp_path)
    assert after.xy[15] == pytest.approx(body() + np.array([SHARE * 2.4, 0.0]))


def test_the_networks_that_ship_pull_displaced_joints_back(tmp_path):
    """Known joints of a sample clip's hold, moved a tenth of a trunk to one side: the closer look takes back about its share of that,
    and the look from near by its share of what is left of hips and knees."""
    path = SAMPLES / "clips" / f"{SAMPLE}.mp4"
    video = probe(path)
    true = truth_track(SAMPLES / "truth" / f"{SAMPLE}.csv", (video.width, video.height))
    with (SAMPLES / "truth.csv").open(encoding="utf-8") as lines:
        row = next(r for r in csv.DictReader(lines) if Path(r["clip"]).stem == SAMPLE)
    hold = (float(row["key_start_s"]), float(row["key_end_s"]))
    shares = {"ankle": SHARE, "knee": SHARE + NEAR_SHARE * (1 - SHARE), "hip": SHARE + NEAR_SHARE * (1 - SHARE)}
    limbs = [INDEX[f"{side}_{part}"] for part in shares for side in ("left", "right")]
    inside = (true.t >= hold[0]) & (true.t <= hold[1])
    trunk = np.nanmedian(np.linalg.norm(true["left_shoulder"] - true["left_hip"], axis=1))
    back = []
    for by in (0.1, -0.1):
        track = replace(true, xy=true.xy + np.array([by * trunk, 0.0]))
        after = closer_track(path, "c" * 64, track, [hold], LandmarkSettings(), tmp_path)
        off = [np.abs(np.median((t.xy - true.xy)[inside][:, limbs, 0], axis=0)).mean() / trunk for t in (track, after)]
        assert off[1] < 0.75 * off[0]
        back.append(np.median((track.xy - after.xy)[inside][:, limbs, 0], axis=0).reshape(len(shares), 2).mean(axis=1) / trunk)
    assert (back[0] - back[1]) / 0.2 == pytest.approx(list(shares.values()), rel=0.1)
