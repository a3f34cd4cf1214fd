"""What a routine costs, on sessions whose truth is set here."""

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose
from scipy import stats

from pipeline.scoring.tolerances import Kind, Tolerance
from pipeline.trends.routine_loss import Basis, athlete_losses, club_losses, learn_loss_scatter, lost, paired_losses, ranked
from pipeline.trends.sessions import sessions
from tests.trends.making import readings

FLAT, LEAN, HIGH = ("shoulder_stand", "hip_angle"), ("shoulder_stand", "leg_to_vertical"), ("backward_roll", "knee_clearance")
TOLERANCES = {FLAT: Tolerance(Kind.BOTH, 180, 10, 20), LEAN: Tolerance(Kind.AT_MOST, 0, 5, 10), HIGH: Tolerance(Kind.AT_LEAST, 20, 5, 10)}


def pairs_of(*rows):
    return paired_losses(sessions(pd.concat(rows)), TOLERANCES)


def both(key, alone, routine, *, athlete="OT-01", own=1.0, side=""):
    """Weekly sessions of one detail, alone and two days later in a routine."""
    weeks = 7 * np.arange(len(alone))
    names = {"skill": key[0], "detail": key[1], "athlete": athlete, "own": own, "side": side}
    return pd.concat([readings(weeks, alone, **names), readings(weeks + 2, routine, setting="routine", **names)])


def test_loss_is_away_from_what_is_wanted():
    two = Tolerance(Kind.BOTH, 180, 10, 20)
    assert_allclose(lost(np.array([170.0, 190, 176, 176]), np.array([160.0, 185, 184, 190]), two), [10, -5, 0, 6])
    assert_allclose(lost(np.array([3.0, 8.0]), np.array([8.0, 3.0]), TOLERANCES[LEAN]), [5, -5])
    assert_allclose(lost(np.array([30.0, 10.0]), np.array([22.0, 15.0]), TOLERANCES[HIGH]), [8, -5])  # beyond the target it counts as well


def test_one_childs_usual_loss_and_its_interval_are_students():
    alone, routine = np.array([170.0, 172, 168, 171, 169]), np.array([166.0, 165, 167, 164, 165])
    (found,) = athlete_losses(pairs_of(both(FLAT, alone, routine)), "OT-01")
    low, high = stats.ttest_1samp(alone - routine, 0.0).confidence_interval(0.95)
    assert_allclose([found.loss, found.low, found.high, found.share], [4.6, low, high, 4.6 / 20])
    assert (found.pairs, found.basis, found.sure) == (5, Basis.USUAL, True)
    assert_allclose([found.alone, found.routine], [170.0, 165.4])


def test_with_few_pairs_the_interval_is_of_these_attempts_from_the_readings():
    (found,) = athlete_losses(pairs_of(both(FLAT, [170.0], [160.0], own=3.0)), "OT-01")
    half = 1.959964 * np.sqrt(3.0**2 + 3.0**2)
    assert_allclose([found.loss, found.low, found.high], [10.0, 10 - half, 10 + half], rtol=1e-6)
    assert found.basis is Basis.THESE and not found.sure and np.isnan(found.p)


def test_a_club_counts_each_child_once():
    """Three children, one of them with many pairs: mean and interval are Student's over the three means."""
    pairs = pairs_of(
        both(FLAT, [170.0] * 9, [168.0] * 9, athlete="A"), both(FLAT, [165.0], [157.0], athlete="B"), both(FLAT, [172.0], [167.0], athlete="C")
    )  # fmt: skip
    (found,) = club_losses(pairs)
    low, high = stats.ttest_1samp([2.0, 8.0, 5.0], 0.0).confidence_interval(0.95)
    assert_allclose([found.loss, found.low, found.high], [5.0, low, high])
    assert (found.pairs, found.athletes, found.basis) == (11, 3, Basis.USUAL)
    (few,) = club_losses(pairs[pairs["athlete"] != "C"])
    half = 1.959964 * np.sqrt(2 + 2) / 2  # the readings' own variance is 1, so 2 for each athlete's difference
    assert few.basis is Basis.THESE and not few.sure
    assert_allclose([few.loss, few.low, few.high], [5.0, 5 - half, 5 + half], rtol=1e-6)


def test_ranking_puts_sure_losses_first_by_their_share_of_the_tolerance():
    rng = np.random.default_rng(5)
    rows = []
    for k in range(8):
        noise = rng.normal(0, 0.5, (3, 4))
        rows.append(both(FLAT, np.full(4, 165.0), 161 + noise[0], athlete=f"A{k}"))  # 4 of 20: a fifth
        rows.append(both(LEAN, np.full(4, 8.0), 12 + noise[1], athlete=f"A{k}"))  # 4 of 10: two fifths
        rows.append(both(HIGH, np.full(4, 15.0), 17 + noise[2], athlete=f"A{k}"))  # a gain
    rows.append(both(HIGH, [15.0], [1.0], side="left", athlete="A0"))  # a large loss of one child only
    found = club_losses(pairs_of(*rows))
    assert [one.column for one in found] == [(*LEAN, ""), (*FLAT, ""), (*HIGH, ""), (*HIGH, "left")]
    assert [one.sure for one in found] == [True, True, True, False] and found[2].loss < 0
    assert [one.basis for one in found] == [Basis.USUAL, Basis.USUAL, Basis.USUAL, Basis.THESE]


def test_holm_over_the_page():
    """Six details on which chance alone gave p of 0.04: by themselves each would be called sure, together none is."""
    (one,) = athlete_losses(pairs_of(both(FLAT, [170.0, 171, 172], [165.0, 166, 168])), "OT-01")
    six = [type(one)(**{**one.__dict__, "side": str(i), "p": 0.04}) for i in range(6)]
    assert not any(judged.sure for judged in ranked(six)) and ranked(six[:1])[0].sure


def test_intervals_hold_the_built_in_loss():
    """200 clubs of 6 children who lose 5° ± 3° each: the club's interval holds 5 in about 95 % of them."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(200):
        children = 5 + 3 * rng.standard_normal(6)
        table = pd.DataFrame(
            {
                "athlete": np.repeat([f"A{k}" for k in range(6)], 4), "skill": FLAT[0], "detail": FLAT[1], "side": "", "alone": 165.0,
                "alone_below": 0.5, "alone_above": 0.5, "routine_below": 0.5, "routine_above": 0.5, "loss_below": 1.0, "loss_above": 1.0, "alone_off": 15.0, "routine_off": 20.0,
                "loss": np.repeat(children, 4) + 2 * rng.standard_normal(24),
            }
        )  # fmt: skip
        table["routine"], table["share"] = table["alone"] - table["loss"], table["loss"] / 20
        (found,) = club_losses(table)
        held += found.low <= 5 <= found.high
    assert held >= 180  # 190 expected


def test_the_club_steadies_a_childs_interval():
    rng = np.random.default_rng(7)
    rows = [both(FLAT, 165 + rng.normal(0, 2, 8), 160 + rng.normal(0, 2, 8), athlete=f"A{k}") for k in range(10)]
    lucky = both(FLAT, [165.0, 165, 165], [160.0, 160.1, 159.9], athlete="L")
    pairs = pairs_of(*rows, lucky)
    by_herself, with_club = (athlete_losses(pairs, "L", scatter)[0] for scatter in (None, learn_loss_scatter(pairs)))
    assert with_club.high - with_club.low > 10 * (by_herself.high - by_herself.low)


def test_levels_have_the_readings_own_doubt_and_say_what_their_mean_hides():
    """Two children, one piked and one arched by 10°, both at 180° in the routine, each reading known to ± 3° (sd 3 / 1.96)."""
    sd = 3 / 1.959964
    (found,) = club_losses(pairs_of(*(both(FLAT, [a], [180.0], athlete=who, own=sd) for who, a in (("A", 170.0), ("B", 190.0)))))
    assert_allclose([found.alone, found.routine, found.loss], [180, 180, -10])
    assert_allclose([found.alone_off, found.routine_off], [10, 0])
    assert_allclose(
        [found.alone_range, found.routine_range],
        [[177, 183]] * 2,
        rtol=1e-5,
        err_msg="readings may all err alike: more of them do not help",
    )
    (lean,) = club_losses(pairs_of(both(LEAN, [4.0, 6.0], [8.0, 8.0], own=sd)))
    assert np.isnan([lean.alone_off, lean.routine_off]).all(), "one side counts: the level says it all"
    assert_allclose(lean.alone_range, [2, 8], rtol=1e-5)


def lopsided(key, value, low, high, *, setting="alone"):
    return readings([0], [value], skill=key[0], detail=key[1], setting=setting).assign(low=low, high=high)


def test_ranges_lean_as_the_readings_do():
    """One session each; a clearance of 1 % in the routine may be 0 to 15, of 40 % alone 32 to 54: so 23 to 53 % are lost where 39 are read."""
    (found,) = club_losses(pairs_of(lopsided(HIGH, 40.0, 32.0, 54.0), lopsided(HIGH, 1.0, 0.0, 15.0, setting="routine")))
    assert_allclose([*found.alone_range, *found.routine_range], [32, 54, 0, 15], atol=1e-9)
    assert_allclose([found.loss, found.low, found.high], [39, 39 - np.hypot(8, 14), 39 + np.hypot(14, 1)])
    (lean,) = club_losses(pairs_of(lopsided(LEAN, 4.0, 3.0, 9.0), lopsided(LEAN, 8.0, 6.0, 12.0, setting="routine")))
    assert_allclose([lean.loss, lean.low, lean.high], [4, 4 - np.hypot(5, 2), 4 + np.hypot(1, 4)], err_msg="less is wanted here")
    piked, arched = (170.0, 168.0, 176.0), (185.0, 184.0, 195.0)
    (flat,) = club_losses(pairs_of(lopsided(FLAT, *piked), lopsided(FLAT, *arched, setting="routine")))
    assert_allclose([flat.loss, flat.low, flat.high], [-5, -5 - np.hypot(1, 2), -5 + np.hypot(10, 6)], err_msg="either side of the target")


def test_without_pairs_or_tolerance_there_is_nothing_to_rank():
    alone_only = readings([0, 7], [170.0, 171.0])
    assert club_losses(pairs_of(alone_only)) == [] and athlete_losses(pairs_of(alone_only), "OT-01") == []
    assert len(paired_losses(sessions(both(FLAT, [170.0], [160.0])), {})) == 0
