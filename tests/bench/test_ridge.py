"""The ridge is the textbook's, with weights and without, with the mean and without it."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.bench.ridge import STRAY, WIDEST, Samples, fitted, rows, usual, without_fifths
from pipeline.measures.learnt import standard
from pipeline.vocabulary import Skill

KEY = (Skill.LUNGE, "hip_angle")


def made_up(weight: np.ndarray | None = None, n: int = 300, k: int = 4) -> Samples:
    """Errors about 2 that follow the first number, with chance; of 20 bodies."""
    rng = np.random.default_rng(5)
    numbers = rng.normal(1.0, 3.0, (n, k))
    error = 2.0 + 0.5 * numbers[:, 0] + rng.normal(0, 1.5, n)
    return Samples(numbers, error, np.array([f"T {i % 20}" for i in range(n)]), np.ones(n) if weight is None else weight)


def plain(of: Samples, strength: float) -> tuple[np.ndarray, float]:
    """(weights, largest correction) by the plain formula for samples that count alike: centred numbers, sd of what they explain."""
    mean, sd = np.nanmean(of.numbers, axis=0), np.nanstd(of.numbers, axis=0)
    z = standard(of.numbers, mean, sd)
    z = z - z.mean(axis=0)
    y = of.error - np.median(of.error)
    y = np.clip(y, *np.quantile(y, [STRAY, 1 - STRAY]))
    weight = np.linalg.solve(z.T @ z + strength * np.eye(z.shape[1]), z.T @ (y - y.mean()))
    return weight, WIDEST * float(np.std(z @ weight))


@pytest.mark.parametrize("strength", [1.0, 20.0, 80.0])
def test_samples_that_count_alike_give_the_plain_formula_to_the_last_digit(strength: float) -> None:
    of = made_up()
    learnt = fitted(of, *usual(of), strength, with_mean=False)
    weight, most = plain(of, strength)
    np.testing.assert_allclose(learnt.weight, weight, rtol=1e-12)
    assert learnt.most == pytest.approx(most, rel=1e-12) and learnt.always == 0.0
    line = f"lunge,hip_angle,first,{np.mean(of.numbers[:, 0]):.4f},{np.std(of.numbers[:, 0]):.4f},{weight[0]:.4f}"
    assert rows(KEY, ["first", "b", "c", "d"], [learnt], digits=4, with_mean=False)[0] == line


def test_it_is_least_squares_with_a_row_more_for_each_number() -> None:
    """Ridge as ordinary least squares on rows added (Hastie, Tibshirani and Friedman, Elements of Statistical Learning, exercise 3.12)."""
    of = made_up(np.random.default_rng(6).uniform(0.2, 2.0, 300))
    learnt = fitted(of, *usual(of), 20.0, with_mean=True)
    root, z = np.sqrt(of.weight)[:, None], standard(of.numbers, *usual(of))
    y = np.clip(of.error, *np.quantile(of.error, [STRAY, 1 - STRAY]))
    table = np.vstack([np.hstack([z * root, root]), np.hstack([np.sqrt(20.0) * np.eye(4), np.zeros((4, 1))])])
    told = np.linalg.lstsq(table, np.concatenate([y * root[:, 0], np.zeros(4)]), rcond=None)[0]
    np.testing.assert_allclose([*learnt.weight, learnt.always], told, rtol=1e-9)


@pytest.mark.parametrize("n", [3, 12])
def test_fewer_samples_than_numbers_and_a_pull_of_its_own_for_each_are_least_squares_too(n: int) -> None:
    of = made_up(np.random.default_rng(6).uniform(0.2, 2.0, n), n=n, k=8)
    pull = np.array([1.0, 4.0, 9.0, 16.0, 25.0, 1.0, 1.0, 2.0])
    learnt = fitted(of, *usual(of), pull, with_mean=True)
    root, z = np.sqrt(of.weight)[:, None], standard(of.numbers, *usual(of))
    y = np.clip(of.error, *np.quantile(of.error, [STRAY, 1 - STRAY]))
    table = np.vstack([np.hstack([z * root, root]), np.hstack([np.diag(np.sqrt(pull)), np.zeros((8, 1))])])
    told = np.linalg.lstsq(table, np.concatenate([y * root[:, 0], np.zeros(8)]), rcond=None)[0]
    np.testing.assert_allclose([*learnt.weight, learnt.always], told, rtol=1e-8, atol=1e-12)


def test_a_sample_that_counts_twice_is_two_samples() -> None:
    one = made_up()
    twice = Samples(*(np.concatenate([getattr(one, name), getattr(one, name)[:50]]) for name in ("numbers", "error", "body", "weight")))
    weighed = made_up(np.where(np.arange(300) < 50, 2.0, 1.0))
    mean, sd = usual(twice)
    np.testing.assert_allclose(usual(weighed), (mean, sd), rtol=1e-12)
    for of in (twice, weighed):  # strays are told by samples, not by weights: here are none
        of.error[:] = 0.5 * of.numbers[:, 0].clip(0.0, 1.0)
    a, b = (fitted(of, mean, sd, 10.0, with_mean=True) for of in (twice, weighed))
    np.testing.assert_allclose([*a.weight, a.most, a.always], [*b.weight, b.most, b.always], rtol=1e-9)


def test_what_counts_nothing_teaches_nothing() -> None:
    of = made_up((np.arange(300) < 200).astype(float))
    of.error[200:] += 500.0
    kept = of.where(of.weight > 0)
    np.testing.assert_array_equal(
        fitted(of, *usual(kept), 10.0, with_mean=True).weight, fitted(kept, *usual(kept), 10.0, with_mean=True).weight
    )


def test_a_fifth_left_out_is_judged_by_what_is_usual_of_all() -> None:
    of = made_up()
    each = without_fifths(of, 10.0, with_mean=False)
    assert len(each) == 6 and all(np.array_equal(c.mean, each[0].mean) for c in each)
    left = of.where(of.fifths != 3)
    np.testing.assert_array_equal(each[3].weight, fitted(left, *usual(of), 10.0, with_mean=False).weight)
    assert not np.allclose(each[3].weight, each[0].weight)
