"""The table of known errors is learnt from errors whose law is known: a normal one, one with strays, counts, too few."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.bench.calibrate import HARDER, LEAST, WIDE, conformal, learn, worth
from pipeline.bench.in_plane import COLUMN
from pipeline.bench.scenes import body_of, scene
from pipeline.measures.uncertainty import Known
from pipeline.vocabulary import DETAIL, Skill

HIP = (Skill.SHOULDER_STAND, "hip_angle")
KNEE = (Skill.CARTWHEEL, "knee_angle")
STEPS = (Skill.BACKWARD_ROLL, "extra_steps")


def rows(key: tuple[Skill, str], error: np.ndarray, own: float = 0.0, *, off: float = 160.0) -> pd.DataFrame:
    """Readings of one detail, one a clip, each `error` below the truth."""
    true = np.full(len(error), off)
    value = true - error
    return pd.DataFrame(
        {"clip": [f"{key[0]}-{i}" for i in range(len(error))], "skill": str(key[0]), "detail": key[1], "side": "", "true": true,
         "reading": value, "low": value - own, "high": value + own}
    )  # fmt: skip


def holds(known: Known, error: np.ndarray, own: float = 0.0) -> float:
    """Share of fresh errors inside the interval the row gives."""
    rest, sd = error - known.bias, np.hypot(known.sd, own)
    return float(np.mean((rest <= known.factor * sd) & (rest >= -known.down * sd)))


def test_a_normal_error_is_learnt_and_its_interval_holds_fresh_ones() -> None:
    """Bias 3, sd 4: with 300 clips both are known within a tenth of an sd or so, and of 20,000 fresh errors 95 % lie inside, give or take 2."""
    rng = np.random.default_rng(1)
    known = learn(rows(HIP, rng.normal(3.0, 4.0, 300)))[HIP]
    assert known.bias == pytest.approx(3.0, abs=0.7)
    assert known.sd == pytest.approx(4.0, abs=0.5)
    assert holds(known, rng.normal(3.0, 4.0, 20_000)) == pytest.approx(0.95, abs=0.02)


def test_twenty_clips_cover_on_average_what_they_should() -> None:
    """Over 60 tables from 20 clips each, fresh errors lie inside 93 to 98 % of the time: not the 100 % that the largest of 20 would give."""
    rng = np.random.default_rng(2)
    covered = [holds(learn(rows(HIP, rng.normal(0, 4.0, 20)))[HIP], rng.normal(0, 4.0, 4000)) for _ in range(60)]
    assert 0.93 < np.mean(covered) < 0.98


def test_one_clip_gone_wrong_does_not_widen_everybody() -> None:
    rng = np.random.default_rng(3)
    error = rng.normal(0, 4.0, 40)
    clean = learn(rows(HIP, error))[HIP]
    error[7] = 60.0
    known = learn(rows(HIP, error))[HIP]
    assert known.factor * known.sd < 1.35 * clean.factor * clean.sd


def test_errors_on_one_side_widen_that_side() -> None:
    """A tenth of the knees truly bend 25 degrees more than they look: the lower half must reach there, the upper need not."""
    rng = np.random.default_rng(4)
    error = rng.normal(0, 4.0, 200)
    error[:20] -= 25.0
    known = learn(rows(KNEE, error))[KNEE]
    assert known.down > 1.2 * known.factor
    assert holds(known, np.r_[rng.normal(0, 4.0, 9000), rng.normal(-25.0, 4.0, 1000)]) > 0.9


def test_an_error_that_goes_with_the_body_is_allowed_for_on_another_child() -> None:
    """Six bodies, each off by 4 degrees (sd) in all its clips, 2 more by chance: 95 % of fresh readings of fresh bodies must be inside.

    By clips left out alone, the body's own other clips explain its error away, and the interval holds fewer.
    """
    names = [scene("tune", i).name for i in range(60)]
    bodies = np.array([body_of(name) for name in names])
    held = {True: [], False: []}
    for seed in range(40):
        rng = np.random.default_rng(seed)
        offset = {b: rng.normal(0, 4.0) for b in np.unique(bodies)}
        table = rows(HIP, np.array([offset[b] for b in bodies]) + rng.normal(0, 2.0, 60))
        fresh = rng.normal(0, 4.0, 8000) + rng.normal(0, 2.0, 8000)
        for named in held:
            held[named].append(holds(learn(table.assign(clip=names) if named else table)[HIP], fresh))
    assert len(np.unique(bodies)) >= 6
    assert np.mean(held[True]) > np.mean(held[False]) + 0.01
    assert 0.92 < np.mean(held[True]) < 0.99


def test_a_cartwheels_knee_has_the_bias_of_what_the_picture_shows() -> None:
    """Legs in plane are read 4 too bent, those bent at the camera 15 too straight: the first move the reading, the others widen it downwards."""
    rng = np.random.default_rng(7)
    flat = np.arange(200) % 3 > 0
    error = np.where(flat, 4.0, -15.0) + rng.normal(0, 3.0, 200)
    table = rows(KNEE, error).assign(**{COLUMN: np.where(flat, 2.0, 25.0)})
    known = learn(table)[KNEE]
    assert known.bias == pytest.approx(4.0, abs=0.7)
    assert known.down > known.factor and holds(known, error) > 0.94
    assert learn(table.drop(columns=COLUMN))[KNEE].bias < 3.5  # all legs together


def test_others_do_not_narrow_a_detail_with_a_long_tail_of_its_own() -> None:
    """200 errors of a long tail (Student's t, 3 degrees of freedom) beside five details of normal ones."""
    rng = np.random.default_rng(8)
    others = [(Skill.SHOULDER_STAND, d) for d in ("hip_knee_angle", "leg_to_vertical", "toe_point")] + [
        (Skill.LUNGE, d) for d in ("hip_angle", "knee_angle")
    ]
    error = 3.0 * rng.standard_t(3, 200)
    known = learn(pd.concat([rows(HIP, error), *[rows(key, rng.normal(0, 4.0, 200)) for key in others]]))[HIP]
    assert holds(known, error) >= 0.95
    assert holds(known, 3.0 * rng.standard_t(3, 20_000)) == pytest.approx(0.95, abs=0.025)


def test_readings_of_one_body_are_worth_as_much_as_they_tell() -> None:
    """Design effect (Kish 1965): 20 bodies of 10 readings each, alike within a body, are worth 20; unlike, all 200; half of the variance
    the body's, 200 / (1 + 9 / 2) = 36."""
    rng = np.random.default_rng(9)
    body = np.repeat([f"b{i}" for i in range(20)], 10)
    assert worth(np.repeat(rng.normal(size=20), 10), body) == pytest.approx(20.0)
    alone = [worth(rng.normal(size=200), body) for _ in range(60)]
    assert np.median(alone) == pytest.approx(200.0, rel=0.05)
    half = [worth(np.repeat(rng.normal(size=20), 10) + rng.normal(size=200), body) for _ in range(60)]
    assert np.median(half) == pytest.approx(36.4, rel=0.15)
    assert worth(np.arange(5.0), np.array(list("abcde"))) == 5.0  # one each


def test_sides_that_are_alike_are_learnt_together() -> None:
    """Of 77 readings 2.5 % is less than two: apart, either side would be the furthest off of all. Together 95 % are held, and no more wide."""
    halves = []
    for seed in range(30):
        known = learn(rows(HIP, np.random.default_rng(seed).normal(0, 4.0, 77)))[HIP]
        halves.append((known.factor + known.down) / 2 * known.sd)
    assert np.median(halves) == pytest.approx(1.96 * 4.0, rel=0.18)  # the rank of 77 reaches a little further, 22 % where sides are parted


def test_what_the_attempts_explain_themselves_is_not_counted_twice() -> None:
    rng = np.random.default_rng(5)
    known = learn(rows(HIP, rng.normal(0, 5.0, 400), own=3.0))[HIP]
    assert known.sd == pytest.approx(4.0, abs=0.6)  # 5 is 3 and 4 in squares


def test_too_few_clips_keep_a_wide_guess() -> None:
    table = learn(rows(HIP, np.zeros(LEAST - 1)))
    assert table[HIP].n == LEAST - 1
    assert table[HIP].factor * table[HIP].sd >= 2.5 * 5.0
    assert table[Skill.CARTWHEEL, "hand_turned_in"] == Known(0.0, HARDER["hand_turned_in"], WIDE, 0)


def test_counts_are_widened_only_where_clips_ask_for_it() -> None:
    """Of 60 counts that hold the truth none asks for more; with a tenth of them one off, the next count cannot be excluded."""
    right = rows(STEPS, np.zeros(60), off=1.0)
    assert learn(right)[STEPS].sd * learn(right)[STEPS].factor == 0.0
    wrong = right.copy()
    wrong.loc[wrong.index[:6], "true"] += 1
    known = learn(wrong)[STEPS]
    assert known.sd * known.factor == pytest.approx(1.0)
    rarely = rows(STEPS, np.zeros(100), off=1.0)
    rarely.loc[rarely.index[:4], "true"] += 1  # 96 % hold without, but that may be 94 % as well
    assert learn(rarely)[STEPS].sd * learn(rarely)[STEPS].factor == pytest.approx(1.0)
    few = learn(rows(STEPS, np.zeros(5), off=1.0))[STEPS]
    assert few.sd * few.factor == pytest.approx(1.0)


def test_every_detail_has_a_row() -> None:
    assert set(learn(rows(HIP, np.zeros(30)))) == set(DETAIL)


def test_conformal_quantile_is_the_published_rank() -> None:
    """ceil((n+1)(1-alpha)): of 99 scores at 95 % the 95th smallest (Lei et al. 2018, eq. 5 from memory); of 10 the largest."""
    assert conformal(np.arange(1.0, 100.0), 0.95) == 95.0
    assert conformal(np.arange(1.0, 11.0), 0.95) == 10.0
    assert conformal(np.arange(1.0, 401.0), 0.95, 39.0) == 390.0  # of 39 the 38th: 97.4 % of the way up
