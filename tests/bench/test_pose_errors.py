"""Errors that follow the pose are learnt, errors that do not are left alone, and nobody is judged by what her own body taught."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.bench.pose_errors import STRENGTH, gain, learn, left_out, table_lines
from pipeline.bench.ridge import Samples, fitted, usual
from pipeline.bench.scenes import fifth_of
from pipeline.measures.learnt import HOLD_NAMES, NAMES, corrections
from pipeline.vocabulary import Skill

K = len(NAMES)
HIP = (Skill.SHOULDER_STAND, "hip_angle")


def made_up(slope: float, n: int = 1600, seed: int = 1) -> Samples:
    """Errors of sd 2 about `slope` a sd of the first number, and a bias of 5; of 40 bodies."""
    rng = np.random.default_rng(seed)
    numbers = rng.normal(3.0, 2.0, (n, K))
    error = 5.0 + slope * (numbers[:, 0] - 3.0) / 2.0 + rng.normal(0, 2.0, n)
    return Samples(numbers, error, np.array([f"T {i % 40}" for i in range(n)]), np.ones(n))


def test_what_follows_the_pose_is_learnt_and_the_bias_is_left_to_the_table() -> None:
    of = made_up(3.0)
    learnt = learn(of)
    assert learnt.weight[0] == pytest.approx(3.0, rel=0.2)
    assert np.abs(learnt.weight[1:]).max() < 0.6
    assert np.mean([learnt.of(x) for x in of.numbers]) == pytest.approx(0.0, abs=0.1)


def test_bodies_left_out_gain_what_there_is_to_gain() -> None:
    """sd 2 and 3 together are 3.6: of a mean error of 2.9 there are 1.6 left at best."""
    before, after = left_out(made_up(3.0))
    assert np.abs(before).mean() == pytest.approx(2.9, abs=0.25) and np.abs(after).mean() == pytest.approx(1.7, abs=0.2)
    saved, low, high = gain(made_up(3.0), before, after)
    assert low < saved < high and low > 0.2


def test_where_nothing_follows_the_pose_nothing_is_gained() -> None:
    of = made_up(0.0)
    before, after = left_out(of)
    saved, low, _ = gain(of, before, after)
    assert saved < 0.02 and low < 0  # fitting noise costs a little, and it says so


def test_a_body_does_not_teach_what_it_is_judged_by() -> None:
    """One body's errors are its own: with its number unlike all others', only itself could have told."""
    of = made_up(0.0)
    mine = of.body == "T 7"
    numbers, error = of.numbers.copy(), of.error.copy()
    numbers[mine, 5], error[mine] = 40.0, error[mine] + 30.0
    before, after = left_out(Samples(numbers, error, of.body, of.weight))
    assert np.abs(after[mine]).mean() > 0.9 * np.abs(before[mine]).mean()


def test_the_table_reads_back_and_leaves_each_fifth_out(tmp_path) -> None:
    of = made_up(3.0)
    file = tmp_path / "pose_errors.csv"
    file.write_text("\n".join(table_lines({HIP: of}, "Made up.")) + "\n", encoding="utf-8")
    mean, sd = usual(of)
    for k in (0, 1, 4):
        fifths = np.array([fifth_of(str(body)) for body in of.body])
        told = fitted(of.where(fifths != k), mean, sd, STRENGTH, with_mean=False)
        read = corrections(k, file)[HIP]
        np.testing.assert_allclose(read.weight, told.weight, atol=1e-4)
        assert read.most == pytest.approx(told.most, abs=0.01)


def test_features_of_a_near_look_are_learnt_with_the_pose(tmp_path) -> None:
    """Errors that follow what two hundred of its numbers have in common, of which each by itself says little."""
    of, rng = made_up(0.0, n=240), np.random.default_rng(4)
    hidden = rng.normal(size=240)
    features = rng.normal(size=(240, len(HOLD_NAMES) - K))
    features[:, 100:300] += hidden[:, None]
    both = Samples(np.hstack([of.numbers, features]), of.error + 4.0 * hidden, of.body, of.weight)
    pose = Samples(of.numbers, both.error, of.body, of.weight)
    (before, after), (_, by_pose) = left_out(both), left_out(pose)
    assert np.abs(after).mean() < 0.75 * np.abs(before).mean() < np.abs(by_pose).mean() * 1.1
    file = tmp_path / "pose_errors.csv"
    file.write_text("\n".join(table_lines({HIP: both}, "Made up.")) + "\n", encoding="utf-8")
    read = corrections(0, file)[HIP]
    assert len(read.weight) == len(HOLD_NAMES) and read.weight[K + 100 : K + 300].mean() > 5 * np.abs(read.weight[K + 300 :].mean())


def test_every_fifth_has_bodies() -> None:
    fifths = [fifth_of(f"T {i}") for i in range(7)] + [fifth_of(f"T more {i}") for i in range(24)]
    assert set(fifths) == {1, 2, 3, 4, 5}
    assert max(fifths.count(k) for k in range(1, 6)) <= 12
