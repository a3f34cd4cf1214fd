"""Angles of single frames against joints placed by hand, and the share of frames their learnt intervals hold."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.bench.frame_truth import every_frame, in_the_tuck, learn_frames, true_angle
from pipeline.landmarks.track import INDEX, N
from pipeline.measures.curves import frame_errors
from pipeline.vocabulary import Side, Skill


def joints(**places: tuple[float, float, float]) -> np.ndarray:
    """(1, 33, 3) a body of which only the joints named are placed; x to her front, y to her left, z up; hips 0.2 m apart."""
    world = np.zeros((1, N, 3))
    for part, (x, y, z) in places.items():
        for side, sign in (("left", 1), ("right", -1)):
            world[0, INDEX[f"{side}_{part}"]] = x, sign * y, z
    return world


def test_a_knee_folded_square_is_ninety_degrees() -> None:
    world = joints(hip=(0, 0.1, 1.0), knee=(0, 0.1, 0.6), ankle=(-0.4, 0.1, 0.6))
    assert true_angle(world, Skill.LUNGE, "knee_angle", Side.LEFT) == pytest.approx([90.0])


@pytest.mark.parametrize(("forward", "angle"), [(0.5, 90.0), (0.0, 180.0), (-0.0874887, 190.0)])
def test_a_hip_is_signed_round_the_front(forward: float, angle: float) -> None:
    """Legs straight ahead of an upright trunk fold to 90; a thigh 10 degrees behind (tan 10 = 0.1763) arches to 190."""
    knee = (0.5, 0.1, 1.0) if angle == 90.0 else (forward, 0.1, 1.0 - 0.4961765)
    world = joints(hip=(0, 0.1, 1.0), shoulder=(0, 0.15, 1.5), knee=knee)
    assert true_angle(world, Skill.LUNGE, "hip_angle", Side.LEFT) == pytest.approx([angle], abs=1e-3)


def test_learnt_intervals_hold_95_percent_of_frames() -> None:
    """30 clips whose frames are off by a clip's own amount (sd 3) and jitter (sd 2): sd 3.6, so 95 % within 7.1."""
    rng = np.random.default_rng(6)
    parts = [
        pd.DataFrame(
            {"error": 2 + rng.normal(0, 3) + rng.normal(0, 2, 90), "half": 0.0, "clip": f"c{i}", "skill": "lunge", "detail": "hip_angle"}
        )
        for i in range(60)
    ]
    known = learn_frames(pd.concat(parts), least=8)[Skill.LUNGE, "hip_angle"]
    assert known.bias == pytest.approx(2.0, abs=1.0)
    assert known.factor * known.sd == pytest.approx(7.1, abs=1.2)
    assert known.n == 60


def test_few_clips_leave_the_committed_row() -> None:
    few = pd.DataFrame({"error": [50.0] * 20, "half": 0.0, "clip": "one", "skill": "lunge", "detail": "hip_angle"})
    assert learn_frames(few, least=8) == dict(frame_errors())


def test_the_tuck_counts_only_rolls_knees_with_the_hips_over_the_shoulders_each_clip_alike() -> None:
    frame = {"skill": "backward_roll", "detail": "knee_angle", "half": 5.0, "over": True}
    tuck = [{**frame, "clip": "a", "error": 4.0}] * 30 + [{**frame, "clip": "b", "error": -8.0}] * 10
    others = [{**frame, "clip": "a", "error": 90.0, **away} for away in ({"over": False}, {"detail": "hip_angle"}, {"skill": "lunge"})]
    said = in_the_tuck(pd.DataFrame(tuck + others))
    assert "mean error 6.0 degrees" in said and "bias +2.0" in said and "held 50 % (2 clips)" in said
    assert "no frame" in in_the_tuck(pd.DataFrame())


def test_every_frame_is_told_for_each_skill_and_detail_each_clip_alike() -> None:
    frame = {"skill": "lunge", "detail": "hip_angle", "half": 5.0, "over": False}
    rows = [{**frame, "clip": "a", "error": 4.0}] * 30 + [{**frame, "clip": "b", "error": -8.0, "half": 7.0}] * 10
    rows += [{**frame, "skill": "cartwheel", "detail": "knee_angle", "clip": "a", "error": 1.0}]
    heading, wheel, lunge = every_frame(pd.DataFrame(rows)).split("\n")
    assert heading.startswith("hip and knee")
    assert wheel.strip() == "cartwheel knee_angle: mean error 1.0 degrees, 95th percentile 1.0, half-width 5.0, held 100 % (1 clips)"
    assert lunge.strip() == "lunge hip_angle: mean error 6.0 degrees, 95th percentile 8.0, half-width 6.0, held 50 % (2 clips)"
    assert "no attempt" in every_frame(pd.DataFrame())
