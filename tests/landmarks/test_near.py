"""The look from near by: where it looks, which joints count there, and that the network that ships sees true joints."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from pipeline.bench.truth_track import truth_track
from pipeline.clips.video import moments_at, probe
from pipeline.landmarks import models
from pipeline.landmarks.near import INSIDE, JOINTS, WIDE, crops, seen_near
from pipeline.landmarks.net import Guess, LandmarkNet
from pipeline.landmarks.paths import axes, torso
from pipeline.landmarks.refine import SAME_POINT
from pipeline.landmarks.track import INDEX, N

SAMPLES = Path(__file__).parents[2] / "sample_data"
HANGING = ("left_elbow", "right_elbow")


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


def named(joints: np.ndarray) -> set[int]:
    return {int(j) for j in joints}


def both(*parts: str) -> set[int]:
    return {INDEX[f"{side}_{part}"] for part in parts for side in ("left", "right")}


def test_a_lunge_is_looked_at_about_hips_shoulders_and_either_knee():
    looks = list(crops(standing()))
    assert [(crop.x, crop.y) for crop, _ in looks] == [(200, 200), (200, 160), (223, 230), (177, 230)]
    assert all(crop.side == pytest.approx(WIDE * 40) and crop.angle == pytest.approx(0) for crop, _ in looks)
    hips, shoulders, left, _ = (named(joints) for _, joints in looks)
    assert hips == both("shoulder", "hip", "knee"), "an elbow 64 pixels off is beyond the 57 that are looked at"
    assert shoulders == both("shoulder", "elbow", "hip")
    assert left >= {INDEX["left_hip"], INDEX["left_knee"]} and not left & both("elbow", "ankle")


def test_upside_down_only_the_hips_are_looked_at_and_the_crop_turns_with_the_trunk():
    ((crop, joints),) = crops(turned(standing(), 170))
    assert np.degrees(crop.angle) == pytest.approx(170) and named(joints) == both("shoulder", "hip", "knee")
    leaning = list(crops(turned(standing(), 70)))
    assert len(leaning) == 4 and np.degrees(leaning[0][0].angle) == pytest.approx(70), "the feet are still lower than the hips"


def test_joints_looked_for_lie_well_within_their_crop():
    for crop, joints in crops(turned(standing(), 33)):
        away = np.abs(crop.to_crop(turned(standing(), 33)[joints]) - 127.5).max()
        assert len(joints) and away < INSIDE * 128


class Sees:
    """Sees every joint beside where it is by what it is told, look for look."""

    def __init__(self, body, offsets) -> None:
        self.body, self.offsets, self.looks = body, offsets, 0

    def read(self, pixels, crop, *, mirrored):
        assert pixels.shape == (256, 256, 3) and mirrored == bool(self.looks % 2)
        seen = self.body + self.offsets[self.looks % len(self.offsets)]
        self.looks += 1
        return Guess(seen, np.zeros(N), np.zeros(N), np.zeros(N), 0.0, np.zeros(2), np.zeros(2))


IMAGE = np.zeros((400, 400, 3), np.uint8)


@pytest.mark.parametrize("degrees", [0.0, 60.0, 180.0])
def test_the_mean_of_all_looks_is_told_in_the_trunk_s_own_frame(degrees):
    body = turned(standing(), degrees)
    right, up = axes(body[None])[0]
    net = Sees(body, [4.0 * right, 8.0 * up])  # a tenth and a fifth of a trunk, in turn
    seen = seen_near(net, IMAGE, body)
    known = np.isfinite(seen).all(axis=1)
    assert named(np.flatnonzero(known)) <= named(JOINTS) and known[INDEX["left_hip"]]
    assert seen[known] == pytest.approx(np.tile([0.05, 0.1], (known.sum(), 1)))


def test_what_lies_far_from_the_track_does_not_count():
    body = standing()
    far = np.array([SAME_POINT * 40 + 0.5, 0.0])
    assert not np.isfinite(seen_near(Sees(body, [far]), IMAGE, body)).any()
    one_of_two = seen_near(Sees(body, [far, np.array([2.0, 0.0])]), IMAGE, body)
    assert one_of_two[INDEX["right_hip"]] == pytest.approx([0.05, 0.0])
    assert not np.isfinite(seen_near(Sees(body, [far]), IMAGE, np.full((N, 2), 5.0))).any(), "a body without length"


@pytest.mark.parametrize("sample", ["OT-02_2026-03-09_1", "OT-01_2026-03-02_1"])
def test_the_network_that_ships_sees_displaced_joints_of_a_drawn_hold_where_they_are(sample):
    """Hips, shoulders and knees of a sample's hold, held 0.12 trunks beside the truth: from near by they are seen twice as near to it."""
    path = SAMPLES / "clips" / f"{sample}.mp4"
    video = probe(path)
    true = truth_track(SAMPLES / "truth" / f"{sample}.csv", (video.width, video.height))
    with (SAMPLES / "truth.csv").open(encoding="utf-8") as lines:
        row = next(r for r in csv.DictReader(lines) if Path(r["clip"]).stem == sample)
    middle = (float(row["key_start_s"]) + float(row["key_end_s"])) / 2
    net = LandmarkNet(models.fast_file(models.near_model(models.landmark_model("tuned"), "heavy")))
    at = int(np.argmin(np.abs(true.t - middle)))
    ((_, moment),) = moments_at(path, [float(true.t[at])])
    frame = moment.frame(960)
    truth = true.xy[at] * frame.scale - 0.5
    held = truth + 0.12 * torso(truth) * np.array([0.6, -0.8])
    seen = seen_near(net, frame.image, held)
    known = np.isfinite(seen).all(axis=1)
    off = np.linalg.norm(held[known] + seen[known] @ axes(held[None])[0] * torso(held) - truth[known], axis=1) / torso(truth)
    assert known.sum() >= 6 and np.median(off) < 0.06
