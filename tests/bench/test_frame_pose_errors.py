"""What frames teach: errors that follow the pose and their mean are learnt, every clip alike, and nobody by her own body."""

from __future__ import annotations

import re

import numpy as np
import pytest

from pipeline.bench.frame_pose_errors import learn_frames, predicted, said, table_lines
from pipeline.bench.ridge import Samples, fitted, joined, usual, without_fifths
from pipeline.bench.scenes import fifth_of
from pipeline.measures.learnt import corrections
from pipeline.measures.learnt_frames import EACH, FRAME_NAMES, OVERHEAD, WINDOW, WINDOW_NAMES
from pipeline.vocabulary import Skill

K = len(FRAME_NAMES)
UP = FRAME_NAMES.index("trunk_up")


def made_up(slope: float, clips: int = 120, each: int = 30, k: int = K, seed: int = 1) -> Samples:
    """Clips of 40 bodies: errors of 5 and `slope` a sd of the first number, sd 1 by chance."""
    rng = np.random.default_rng(seed)
    numbers = rng.normal(3.0, 2.0, (clips * each, k))
    error = 5.0 + slope * (numbers[:, 0] - 3.0) / 2.0 + rng.normal(0, 1.0, clips * each)
    return Samples(numbers, error, np.repeat([f"T {i % 40}" for i in range(clips)], each), np.full(clips * each, 1 / each))


def test_slope_and_mean_are_learnt() -> None:
    of = made_up(3.0)
    learnt = fitted(of, *usual(of), 2.0, with_mean=True)
    assert learnt.weight[0] == pytest.approx(3.0, rel=0.1)
    assert np.mean(learnt.each(of.numbers)) == pytest.approx(5.0, abs=0.2)
    assert np.abs(of.error - learnt.each(of.numbers)).mean() < 1.2  # of 2.5 by the mean alone


def test_a_long_clip_counts_no_more_than_a_short_one() -> None:
    """One clip of 900 frames is off by 30, 119 clips of 30 frames are not: on average 0.25, by frames 6."""
    few, one = made_up(0.0, 119), made_up(0.0, 1, 900)
    of = joined([few, one])
    of.error[-900:] += 30.0
    learnt = fitted(of, *usual(of), 1e6, with_mean=True)
    assert np.mean(learnt.each(few.numbers)) == pytest.approx(5.25, abs=0.2)


def test_frames_upright_and_overhead_teach_apart() -> None:
    of = made_up(0.0)
    over = np.arange(len(of.error)) % 2 == 0
    of.numbers[:, UP] = np.where(over, 1.0, -1.0)
    of.error[over] -= 12.0
    learnt = learn_frames({(Skill.BACKWARD_ROLL, "knee_angle"): of, (Skill.LUNGE, "knee_angle"): of})
    assert set(learnt) == {
        (Skill.BACKWARD_ROLL, f"knee_angle {EACH}"),
        (Skill.BACKWARD_ROLL, f"knee_angle {OVERHEAD}"),
        (Skill.LUNGE, f"knee_angle {EACH}"),
    }
    after = predicted(of, learnt[Skill.BACKWARD_ROLL, f"knee_angle {EACH}"], learnt[Skill.BACKWARD_ROLL, f"knee_angle {OVERHEAD}"])
    assert np.mean(after[over]) == pytest.approx(-7.0, abs=0.3) and np.mean(after[~over]) == pytest.approx(5.0, abs=0.3)
    before, left = (float(x) for x in re.findall(r"mean error ([\d.]+) -> ([\d.]+)", said(of, after, "roll"))[0])
    assert before == pytest.approx(6.0, abs=0.2) and left == pytest.approx(0.8, abs=0.1)  # sd 1: 0.8


def test_a_body_does_not_teach_what_it_is_judged_by() -> None:
    of = made_up(0.0)
    of.body[:] = np.array([f"T {int(b[2:]) % 10}" for b in of.body])
    mine = of.body == "T 7"
    of.numbers[mine, 5] += 30.0
    of.error[mine] += 20.0
    learnt = without_fifths(of, 2.0, with_mean=True)
    assert np.mean(predicted(of, learnt)[mine]) < 8.0  # its own would have said 25
    assert np.mean(learnt[0].each(of.numbers)[mine]) > np.mean(learnt[fifth_of("T 7")].each(of.numbers)[mine]) + 3.0


def test_the_table_reads_back(tmp_path) -> None:
    key, window = (Skill.LUNGE, f"knee_angle {EACH}"), (Skill.CARTWHEEL, f"knee_angle {WINDOW}")
    learnt = {
        key: without_fifths(made_up(3.0), 2.0, with_mean=True),
        window: without_fifths(made_up(2.0, k=len(WINDOW_NAMES)), 2.0, with_mean=True),
    }
    file = tmp_path / "frame_pose_errors.csv"
    file.write_text("\n".join(table_lines(learnt, "Made up.")) + "\n", encoding="utf-8")
    for k in range(6):
        table = corrections(k, file)
        assert set(table) == {key, window}
        for one, each in learnt.items():
            np.testing.assert_allclose(table[one].weight, each[k].weight, atol=6e-4)
            assert table[one].always == pytest.approx(each[k].always, abs=0.006)
