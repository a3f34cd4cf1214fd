"""The look from near by: where it looks, what counts there, and that the network that ships sees true joints and angles."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from pipeline.bench.truth_track import truth_track
from pipeline.clips.video import moments_at, probe
from pipeline.landmarks import models
from pipeline.landmarks.crops import SIZE
from pipeline.landmarks.near import INSIDE, JOINTS, WIDE, Near, in_mirror, near_crop, seen_near
from pipeline.landmarks.near_angles import ANGLES, COUNT, STEP, AngleHead, angles_by_points, as_unmirrored
from pipeline.landmarks.net import FEATURES, Guess
from pipeline.landmarks.paths import axes, torso
from pipeline.landmarks.refine import SAME_POINT
from pipeline.landmarks.track import INDEX, N
from tests.landmarks.heads import written

SAMPLES = Path(__file__).parents[2] / "sample_data"


def standing() -> np.ndarray:
    """(33, 2) pixels of a body whose trunk is 40 long, legs apart in a lunge, arms overhead."""
    xy = np.full((N, 2), 200.0)
    places = {"shoulder": (0, -40), "elbow": (4, -64), "wrist": (4, -84), "hip": (0, 0), "knee": (20, 30), "ankle": (40, 60)}
    for part, (x, y) in places.items():
        for side, sign in (("left", 1), ("right", -1)):
            xy[INDEX[f"{side}_{part}"]] = (200 + sign * (x + 3), 200 + y)
    return xy


def turned(xy: np.ndarray, degrees: float) -> np.ndarray:
    a = np.radians(degrees)
    return (xy - 200) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + 200


def off(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Degrees between angles."""
    return np.abs((a - b + 180) % 360 - 180)


@pytest.mark.parametrize("degrees", [0.0, 33.0, 70.0, 170.0])
def test_the_crop_lies_about_the_hips_four_trunks_wide_and_turns_with_the_trunk(degrees):
    body = turned(standing(), degrees)
    crop = near_crop(body)
    assert (crop.x, crop.y) == pytest.approx((200, 200)) and crop.side == pytest.approx(WIDE * 40) and WIDE == 4
    assert np.degrees(crop.angle) == pytest.approx(degrees)
    inside = crop.to_crop(body)
    assert inside[[INDEX["left_hip"], INDEX["right_hip"]]].mean(axis=0) == pytest.approx([127.5, 127.5])
    assert inside[[INDEX["left_shoulder"], INDEX["right_shoulder"]]].mean(axis=0) == pytest.approx([127.5, 127.5 - SIZE / WIDE])


def test_points_in_a_mirror_image_are_named_for_the_other_side():
    points = np.random.default_rng(1).uniform(0, SIZE, (N, 2))
    seen = in_mirror(points)
    assert seen[INDEX["left_knee"]] == pytest.approx([SIZE - 1, 0] + points[INDEX["right_knee"]] * [-1, 1])
    assert seen[INDEX["nose"], 1] == points[INDEX["nose"], 1] and in_mirror(seen) == pytest.approx(points)


class Sees:
    """Sees every joint beside where it is by what it is told, look for look."""

    def __init__(self, body, offsets) -> None:
        self.body, self.offsets, self.looks = body, offsets, 0

    def read(self, pixels, crop, *, mirrored):
        assert pixels.shape == (256, 256, 3) and mirrored == bool(self.looks % 2)
        seen = self.body + self.offsets[self.looks % len(self.offsets)]
        self.looks += 1
        return Guess(seen, np.zeros(N), np.zeros(N), np.zeros(N), 0.0, np.zeros(2), np.zeros(2))

    def features(self):
        """-1 after a plain look, 1 after a mirrored one."""
        return np.full(FEATURES, 1.0 - 2.0 * (self.looks % 2))


@pytest.fixture
def still(tmp_path) -> AngleHead:
    """A head that adds nothing."""
    return AngleHead(written(tmp_path / "still.npz"))


IMAGE = np.zeros((400, 400, 3), np.uint8)


@pytest.mark.parametrize("degrees", [0.0, 60.0, 180.0])
def test_the_mean_of_both_looks_is_told_in_the_trunk_s_own_frame(degrees, still):
    body = turned(standing(), degrees)
    right, up = axes(body[None])[0]
    net = Sees(body, [4.0 * right, 8.0 * up])  # a tenth and a fifth of a trunk, in turn
    look = seen_near(Near(net, still), IMAGE, body)
    seen, angles = look.beside, look.angles
    known = np.isfinite(seen).all(axis=1)
    assert net.looks == 2 and set(np.flatnonzero(known)) == set(JOINTS)
    assert seen[known] == pytest.approx(np.tile([0.05, 0.1], (known.sum(), 1)))
    assert off(angles, angles_by_points(body)).max() < 1e-6, "the same shape beside it, however it is mirrored"
    assert look.features.shape == (2, FEATURES)


def test_joints_held_near_the_crop_s_edge_are_not_looked_for_and_angles_beyond_it_not_told(still):
    """Four trunks wide: it reaches 80 pixels to either side of the hips; joints count but for the last twentieth, angles up to the edge."""
    for away, counts, tells in ((75.0, True, True), (77.0, False, True), (79.0, False, True), (81.0, False, False)):
        assert counts == (away < INSIDE * WIDE * 40 / 2) and tells == (away < WIDE * 40 / 2)
        body = standing()
        body[INDEX["left_ankle"]] = (200 + away, 210.0)
        body[INDEX["right_elbow"]] = (198.0, 200 - away)
        look = seen_near(Near(Sees(body, [np.zeros(2)]), still), IMAGE, body)
        seen, angles = look.beside, look.angles
        assert np.isfinite(seen[INDEX["right_elbow"]]).all() == counts and np.isfinite(seen[INDEX["left_elbow"]]).all()
        lacking = {("left", "hip_to_ankle"), ("left", "knee"), ("right", "shoulder")}
        for k in range(COUNT):
            name = (("left", "right")[k // len(ANGLES)], ANGLES[k % len(ANGLES)])
            assert np.isfinite(angles[k]) == (tells or name not in lacking), name


def test_what_lies_far_from_the_track_does_not_count(still):
    body = standing()
    far = np.array([SAME_POINT * 40 + 0.5, 0.0])
    for at in (body, np.full((N, 2), 5.0)):  # the latter without length
        look = seen_near(Near(Sees(body, [far]), still), IMAGE, at)
        assert not np.isfinite(look.beside).any() and not np.isfinite(look.angles).any()
    assert np.isnan(look.features).all(), "nobody is looked at"
    look = seen_near(Near(Sees(body, [far, np.array([2.0, 0.0])]), still), IMAGE, body)
    points, angles = look.beside, look.angles
    assert points[INDEX["right_hip"]] == pytest.approx([0.05, 0.0])
    assert off(angles, angles_by_points(body)).max() < 1e-6, "of the look that shows her"
    one = np.zeros((N, 2))
    one[INDEX["left_knee"]] = far
    look = seen_near(Near(Sees(body, [one]), still), IMAGE, body)
    points, angles = look.beside, look.angles
    assert not np.isfinite(points[INDEX["left_knee"]]).any() and np.isfinite(points[INDEX["right_knee"]]).all()
    assert np.flatnonzero(np.isinf(angles)).tolist() == [1, 2] and not np.isnan(angles).any(), "left hip by the knee, left knee: elsewhere"


def test_what_the_head_adds_to_a_mirrored_look_is_added_to_the_other_side(tmp_path):
    """It adds 2 steps to the left knee's angle of a mirrored look, which is the right one's, and nothing to that of a plain one."""
    adds = np.zeros(COUNT)
    adds[[ANGLES.index("knee"), ANGLES.index("hip_to_knee")]] = 2.0
    head = AngleHead(written(tmp_path / "a.npz", where_first_is_one=adds))
    body = standing()
    angles = seen_near(Near(Sees(body, [np.zeros(2)]), head), IMAGE, body).angles
    added = (angles - angles_by_points(body) + 180) % 360 - 180
    wanted = np.zeros(COUNT)
    wanted[len(ANGLES) + ANGLES.index("knee")] = STEP  # half of it: the mean of both looks
    wanted[len(ANGLES) + ANGLES.index("hip_to_knee")] = -STEP  # a mirrored hip counts the other way round
    assert added == pytest.approx(wanted, abs=1e-3)


def held_in(sample: str) -> tuple[np.ndarray, np.ndarray]:
    """The picture in the middle of a sample's hold, and its true points there (33, 2)."""
    path = SAMPLES / "clips" / f"{sample}.mp4"
    video = probe(path)
    true = truth_track(SAMPLES / "truth" / f"{sample}.csv", (video.width, video.height))
    with (SAMPLES / "truth.csv").open(encoding="utf-8") as lines:
        row = next(r for r in csv.DictReader(lines) if Path(r["clip"]).stem == sample)
    middle = (float(row["key_start_s"]) + float(row["key_end_s"])) / 2
    at = int(np.argmin(np.abs(true.t - middle)))
    ((_, moment),) = moments_at(path, [float(true.t[at])])
    frame = moment.frame(960)
    return frame.image, true.xy[at] * frame.scale - 0.5


@pytest.mark.parametrize("sample", ["OT-02_2026-03-09_1", "OT-01_2026-03-02_1"])
def test_the_network_that_ships_sees_displaced_joints_of_a_drawn_hold_where_they_are(sample):
    """Hips, shoulders and knees of a sample's hold, held 0.12 trunks beside the truth: from near by they are seen twice as near to it."""
    image, truth = held_in(sample)
    held = truth + 0.12 * torso(truth) * np.array([0.6, -0.8])
    near = Near.load(models.near_model(models.landmark_model("tuned"), True))
    look = seen_near(near, image, held)
    seen, angles = look.beside, look.angles
    known = np.isfinite(seen).all(axis=1)
    away = np.linalg.norm(held[known] + seen[known] @ axes(held[None])[0] * torso(held) - truth[known], axis=1) / torso(truth)
    assert known.sum() >= 6 and np.median(away) < 0.06
    apart = off(angles, angles_by_points(truth))
    assert np.isfinite(apart).sum() >= 6 and np.nanmedian(apart) < 6


def test_a_picture_and_its_mirror_image_are_told_alike_by_what_ships():
    """Two looks at either, of which one is mirrored: the same two looks."""
    image, truth = held_in("OT-02_2026-03-09_1")
    near = Near.load(models.near_model(models.landmark_model("tuned"), True))
    other = in_mirror(truth)
    other[:, 0] += image.shape[1] - SIZE  # of the whole picture
    plain, mirrored = seen_near(near, image, truth).angles, seen_near(near, np.ascontiguousarray(image[:, ::-1]), other).angles
    assert np.isfinite(plain).sum() >= 6 and (np.isfinite(plain) == np.isfinite(as_unmirrored(mirrored))).all()
    assert np.nanmax(off(plain, as_unmirrored(mirrored))) < 0.5


@pytest.mark.parametrize("gap, lacking", [("left_elbow", {3}), ("left_ankle", {0, 2}), ("left_wrist", set())])
def test_a_gap_in_the_track_leaves_out_the_angles_that_are_seen_by_it_and_no_others(gap, lacking, tmp_path):
    """A head that heeds every point: one unknown point must not spoil what is told of the others."""
    held = standing()
    held[INDEX[gap]] = np.nan
    whole, told = (
        seen_near(Near(Sees(standing(), [np.zeros(2)]), AngleHead(written(tmp_path / "h.npz"))), IMAGE, b).angles
        for b in (standing(), held)
    )
    assert set(np.flatnonzero(np.isnan(told))) == lacking
    kept = np.isfinite(told)
    assert off(told, whole)[kept].max() < 1e-6
