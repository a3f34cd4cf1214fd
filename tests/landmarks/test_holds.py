"""The look from near by at holds: what a network sees beside the track moves a hold's joints by a known share, and nothing else."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.held import holds, seen_from_near
from pipeline.bench.truth_track import truth_track
from pipeline.clips.video import probe
from pipeline.landmarks import holds_kept, models
from pipeline.landmarks.holds import EASE_S, LOOKS_AT, SHARE, Seen, look, looked_at, moved
from pipeline.landmarks.holds_kept import kept_file, with_holds
from pipeline.landmarks.near import JOINTS, Near
from pipeline.landmarks.near_angles import COUNT, AngleHead, angles_by_points
from pipeline.landmarks.net import FEATURES, Guess
from pipeline.landmarks.paths import axes
from pipeline.landmarks.settings import LandmarkSettings
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
    """A network that sees the body of one frame after the other, each plain and mirrored; counts how often it looked."""

    def __init__(self, bodies) -> None:
        self.bodies, self.looks = list(bodies), 0

    def features(self):
        """How many looks there were."""
        return np.full(FEATURES, float(self.looks))

    def read(self, pixels, crop, *, mirrored):
        assert mirrored == bool(self.looks % 2), "plain and mirrored in turn"
        seen = self.bodies[self.looks // 2 % len(self.bodies)] - 0.5  # the working picture's pixels are counted from their middles
        self.looks += 1
        return Guess(seen, np.zeros(N), np.ones(N), np.zeros(N), 0.0, np.zeros(2), np.zeros(2))


@pytest.fixture
def clip(tmp_path):
    return film(tmp_path / "a.mp4")


@pytest.fixture
def head(tmp_path):
    """Adds nothing to the angles that points draw."""
    return AngleHead(written(tmp_path / "still.npz"))


def lunging(knee_at: float = 0.0) -> np.ndarray:
    """(33, 2) pixels of the body with its limbs in order; the left knee lies so many pixels further to the right."""
    xy = body()
    for part, at in {"elbow": (6.0, -12.0), "knee": (6.0, 14.0), "ankle": (9.0, 28.0)}.items():
        for side, sign in (("left", 1), ("right", -1)):
            xy[INDEX[f"{side}_{part}"]] = (60.0 + sign * at[0], 50.0 + at[1])
    xy[INDEX["left_knee"], 0] += knee_at
    return xy


def still(at: np.ndarray) -> Track:
    return replace(held(), xy=np.repeat(at[None], 30, axis=0))


def test_two_frames_spread_over_the_hold_are_looked_at():
    assert looked_at(held(), HOLD).tolist() == [13, 17]  # of rows 9 to 21
    assert looked_at(held(), (0.3, 0.34)).tolist() == [9, 10]
    assert looked_at(held(), (2.0, 3.0)).tolist() == []
    gone = held()
    gone.xy[9:15] = np.nan
    assert looked_at(gone, HOLD).tolist() == [17, 19]


def test_what_is_seen_in_each_frame_both_ways_is_told_in_the_trunk_s_own_frame(clip, head):
    one, other = (lunging(by) - np.array([0.0, 2.4]) for by in (1.0, 3.0))
    net = Sees([one, other])
    seen = look(Near(net, head), clip, still(lunging()), HOLD, longest_side=960)
    assert net.looks == 2 * len(LOOKS_AT), "plain and mirrored"
    assert set(np.flatnonzero(np.isfinite(seen.beside).all(axis=1))) == set(JOINTS)
    others = np.setdiff1d(JOINTS, [INDEX["left_knee"]])
    assert seen.beside[others] == pytest.approx(np.tile([0.0, 0.1], (len(others), 1)))
    assert seen.beside[INDEX["left_knee"]] == pytest.approx([2.0 / TRUNK, 0.1])
    assert seen.angles == pytest.approx((angles_by_points(one) + angles_by_points(other)) / 2), "the mean of what is told in either frame"
    assert abs(angles_by_points(one)[1] - angles_by_points(other)[1]) > 5, "left hip to knee"
    assert seen.features.tolist() == [[2.0] * FEATURES, [3.0] * FEATURES], "means of looks 1 and 3, and of 2 and 4"


@pytest.mark.parametrize("turn", [0.0, 90.0, 200.0])
def test_however_the_body_is_turned(clip, head, turn):
    """A knee seen 2.4 pixels (0.1 trunks) to the right hand of an upright trunk and 4.8 further up it."""
    a, knee = np.radians(turn), INDEX["left_knee"]
    spin = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    at = (lunging() - [60.0, 50.0]) @ spin + [60.0, 50.0]
    seen = at.copy()
    seen[knee] += np.array([2.4, -4.8]) @ spin
    found = look(Near(Sees([seen]), head), clip, still(at), HOLD, longest_side=960).beside
    assert found[knee] == pytest.approx([0.1, 0.2])
    assert np.delete(found, knee, axis=0)[np.isfinite(np.delete(found, knee, axis=0))] == pytest.approx(0.0)


def test_somebody_else_moves_nothing_and_a_hold_without_frames_in_the_file_is_left_alone(clip, tmp_path, head):
    near, track = Near(Sees([lunging() + 25.0]), head), still(lunging())
    seen = look(near, clip, track, HOLD, longest_side=960)
    assert np.isnan(seen.beside).all() and np.isinf(seen.angles).all()
    assert_array_equal(moved(track, [(HOLD, seen)]).xy, track.xy)
    assert look(near, clip, held(), (2.0, 3.0), longest_side=960) is None
    assert look(near, tmp_path / "gone.mp4", held(), HOLD, longest_side=960) is None


def test_points_move_a_share_of_the_way_within_the_hold_and_gradually_beside_it():
    turns = np.linspace(0, 300, 30)
    track, offset = held(turns), np.zeros((N, 2))
    knee = INDEX["right_knee"]
    offset[knee] = [0.1, 0.2]
    track.xy[15] = np.nan
    after = moved(track, [(HOLD, Seen(offset, np.zeros((2, FEATURES)), UNTOLD))])
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
    track, offset = held(), Seen(np.full((N, 2), 0.1), np.zeros((2, FEATURES)), UNTOLD)
    one = moved(track, [((0.1, 0.9), offset)]).xy
    two = moved(track, [((0.1, 0.45), offset), ((0.5, 0.9), offset)]).xy
    assert two[3:28] == pytest.approx(one[3:28])


def test_the_trunk_s_axes_are_its_right_hand_and_up_along_it():
    assert axes(body()[None])[0] == pytest.approx(np.array([[1.0, 0.0], [0.0, -1.0]]))
    assert axes(body(90.0)[None])[0] == pytest.approx(np.array([[0.0, 1.0], [1.0, 0.0]]), abs=1e-12)


@pytest.fixture
def net(monkeypatch, head):
    """Everything seen 0.1 trunks to the right hand; the model's files are not loaded."""
    net = Sees([lunging() + np.array([2.4, 0.0])])
    monkeypatch.setattr(holds_kept.Near, "load", lambda model: Near(net, head))
    return net


AT_ONE = 2 * len(LOOKS_AT)  # looks at a hold


def test_a_second_run_looks_at_no_hold_twice_and_moves_points_by_the_same(clip, tmp_path, net):
    at = (clip, "c" * 64, still(lunging()), [HOLD], LandmarkSettings(), tmp_path / "kept")
    first = with_holds(*at)
    by = np.zeros((N, 2))
    by[JOINTS] = [SHARE * 2.4, 0.0]
    assert first.xy[15] == pytest.approx(lunging() + by) and net.looks == AT_ONE
    again = with_holds(*at)
    assert_array_equal(again.xy, first.xy)
    (fresh,), (kept,) = first.looks, again.looks
    assert_array_equal(kept.features, fresh.features)
    assert_array_equal(kept.angles, fresh.angles)
    assert (kept.start, kept.end) == HOLD and kept.features[:, 0].tolist() == [2.0, 3.0]
    assert kept.angles == pytest.approx(angles_by_points(lunging()), abs=1e-3)
    assert net.looks == AT_ONE
    (file,) = (tmp_path / "kept").iterdir()
    assert file == kept_file("c" * 64, LandmarkSettings(), tmp_path / "kept")
    assert file.name.split("_")[0] == "c" * 32, "as the track's name begins, by which a forgotten clip's files are found"
    file.write_bytes(b"half")
    assert_array_equal(with_holds(*at).xy, first.xy)
    assert net.looks == 2 * AT_ONE


def test_a_first_run_has_what_was_seen_as_a_second_one_reads_it(clip, tmp_path, net, monkeypatch):
    told = np.array([170.12345678, 30.5, np.nan, 90.0, 359.99, 0.0, np.inf, 45.0])
    offset = UNSEEN.copy()
    offset[JOINTS[:3]] = [[0.1, 0.2], [0.3, -0.1], [0.0, 0.05]]
    monkeypatch.setattr(holds_kept, "look", lambda *_, **__: Seen(offset, np.full((2, FEATURES), 1 / 3), told))
    at = (clip, "c" * 64, held(), [HOLD], LandmarkSettings(), tmp_path / "kept")
    first, again = with_holds(*at), with_holds(*at)
    (fresh,), (kept,) = first.looks, again.looks
    for one in (fresh, kept):
        assert_array_equal(one.angles, np.round(told, 4))
        assert_array_equal(one.features, np.full((2, FEATURES), 0.3333, np.float32))
    assert_array_equal(again.xy, first.xy)
    assert first.xy[15, JOINTS[0]] - held().xy[15, JOINTS[0]] == pytest.approx(SHARE * np.array([2.4, -4.8]))
    others = np.delete(np.arange(N), JOINTS[:3])
    assert_array_equal(first.xy[:, others], held().xy[:, others])


def test_another_track_or_hold_is_looked_at_anew(clip, tmp_path, net):
    track = still(lunging())
    at = ("c" * 64, track, [HOLD], LandmarkSettings(), tmp_path / "kept")
    with_holds(clip, *at)
    with_holds(clip, "c" * 64, replace(track, xy=track.xy + 0.25), [HOLD], *at[3:])
    assert net.looks == 2 * AT_ONE
    with_holds(clip, "c" * 64, track, [HOLD, (0.1, 0.2)], *at[3:])
    assert net.looks == 3 * AT_ONE
    with_holds(clip, *at)
    assert net.looks == 3 * AT_ONE
    otherwise = (float(np.nextafter(HOLD[0], 9)), float(np.nextafter(HOLD[1], 0)))
    known = with_holds(clip, "c" * 64, track, [otherwise], *at[3:])
    assert net.looks == 3 * AT_ONE, "the last bits of a moment are the machine's"
    assert [(one.start, one.end) for one in known.looks] == [otherwise]


def test_without_holds_a_chosen_or_installed_network_or_a_readable_clip_the_track_stays(clip, tmp_path, net, monkeypatch, caplog):
    track, kept = held(), tmp_path / "kept"
    assert with_holds(clip, "c" * 64, track, [], LandmarkSettings(), kept) is track
    assert with_holds(clip, "c" * 64, track, [HOLD], LandmarkSettings(near_look=False), kept) is track
    assert with_holds(clip, "c" * 64, track, [HOLD], LandmarkSettings(model="wheel"), kept) is track  # marks other points
    assert_array_equal(with_holds(tmp_path / "gone.mp4", "c" * 64, track, [HOLD], LandmarkSettings(), kept).xy, track.xy)
    assert not kept.exists(), "a clip that cannot be read now may be read later"
    monkeypatch.setattr(models, "NEAR", "not_there.tflite")
    models._say_once.cache_clear()
    for _ in range(2):
        assert with_holds(clip, "c" * 64, track, [HOLD], LandmarkSettings(), kept) is track
    said = [r.getMessage() for r in caplog.records if "not_there" in r.getMessage()]
    assert len(said) == 1 and "nobody looks at holds from near by" in said[0]


def test_readings_know_whether_somebody_looked_from_near_by(tmp_path, monkeypatch, caplog):
    with_it, file = models.looked_with("tuned", "other", True), kept_file("c" * 64, LandmarkSettings(), tmp_path)
    track = models.used("tuned", "other")
    first = models.landmark_model("tuned")
    holds_by, wheels_by = models.near_model(first, True).key, models.cartwheel_model(first, True).key
    assert with_it == f"{track}-{holds_by}-{wheels_by}"
    for lacks, what, left in (
        ("NEAR", "holds", wheels_by), ("NEAR_ANGLES", "holds", wheels_by),
        ("CARTWHEELS", "cartwheels", holds_by), ("CARTWHEELS_ANGLES", "cartwheels", holds_by),
    ):  # fmt: skip
        with monkeypatch.context() as lacking:
            lacking.setattr(models, lacks, f"no_{lacks}.file")
            models._say_once.cache_clear()
            assert models.looked_with("tuned", "other", True) == f"{track}-{left}", "neither is used without the other"
            assert f"no_{lacks}.file is not installed: nobody looks at {what} from near by" in caplog.text
            assert (kept_file("c" * 64, LandmarkSettings(), tmp_path) != file) == (what == "holds"), (
                "what another network saw is another file"
            )
    assert models.looked_with("tuned", "other", False) == track
    assert models.looked_with("wheel", "other", True) == models.used("wheel", "other")
    assert LandmarkSettings(near_look=False).key() == LandmarkSettings().key(), "the track itself is the same"


def test_held_skills_are_looked_at(clip, tmp_path, net):
    def attempt(skill: Skill, start: float, end: float) -> Attempt:
        return Attempt(skill, 1, 0.0, 1.0, start, end, 1, Side.LEFT, Setting.ALONE, 0.9)

    all_of_them = [attempt(skill, 0.3, 0.7) for skill in Skill]
    assert len(holds(all_of_them)) == 3 and set(holds(all_of_them)) == {HOLD}
    assert holds([attempt(Skill.CARTWHEEL, 0.3, 0.7), attempt(Skill.BACKWARD_ROLL, 0.3, 0.7), attempt(Skill.LUNGE, 0.5, 0.5)]) == []
    lunge = [attempt(Skill.LUNGE, *HOLD)]
    after = seen_from_near(clip, "c" * 64, still(lunging()), lunge, LandmarkSettings(), tmp_path)
    assert after.xy[15, JOINTS] == pytest.approx(lunging()[JOINTS] + np.array([SHARE * 2.4, 0.0]))


def test_the_network_that_ships_pulls_displaced_joints_back(tmp_path):
    """Known joints of a sample clip's hold, moved a tenth of a trunk to one side: the look from near by takes back about its share of that at
    hips and knees, and leaves ankles where they are."""
    path = SAMPLES / "clips" / f"{SAMPLE}.mp4"
    video = probe(path)
    true = truth_track(SAMPLES / "truth" / f"{SAMPLE}.csv", (video.width, video.height))
    with (SAMPLES / "truth.csv").open(encoding="utf-8") as lines:
        row = next(r for r in csv.DictReader(lines) if Path(r["clip"]).stem == SAMPLE)
    hold = (float(row["key_start_s"]), float(row["key_end_s"]))
    shares = {"ankle": 0.0, "knee": SHARE, "hip": SHARE}
    limbs = [INDEX[f"{side}_{part}"] for part in shares for side in ("left", "right")]
    inside = (true.t >= hold[0]) & (true.t <= hold[1])
    trunk = np.nanmedian(np.linalg.norm(true["left_shoulder"] - true["left_hip"], axis=1))
    back = []
    for by in (0.1, -0.1):
        track = replace(true, xy=true.xy + np.array([by * trunk, 0.0]))
        after = with_holds(path, "c" * 64, track, [hold], LandmarkSettings(), tmp_path)
        back.append(np.median((track.xy - after.xy)[inside][:, limbs, 0], axis=0).reshape(len(shares), 2).mean(axis=1) / trunk)
    assert (back[0] - back[1]) / 0.2 == pytest.approx(list(shares.values()), abs=0.08)
