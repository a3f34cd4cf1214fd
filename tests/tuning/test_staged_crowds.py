"""Crowded crops: somebody is always near, bodies that are only checked on never shown, and the label is the athlete's."""

import numpy as np
import pytest

from pipeline.bench.scenes import HUES
from pipeline.bench.staged_crowds import BEFORE, CHILDREN, SKILLS, company, crops, crowd_scene, film
from pipeline.bench.staged_holds import hold_bodies, is_checked
from pipeline.landmarks.tuning.labels import JOINTS
from pipeline.landmarks.tuning.staged import Staged, write


def test_somebody_is_always_near_mostly_close_behind():
    rng, known = np.random.default_rng(1), hold_bodies()
    every = [company(list(known[:CHILDREN]), known[-1], HUES["tune"], rng) for _ in range(300)]
    assert min(len(one) for one in every) >= 1
    close = np.mean([any(0 < extra.at[1] < 1.0 and abs(extra.at[0]) < 0.7 for extra in one) for one in every])
    before = np.mean([any(extra.at[1] < 0 for extra in one) for one in every])
    assert close > 0.6 and 0 < before < 4 * BEFORE


def test_a_scene_is_the_same_each_time_and_its_films_differ():
    (one, what, who, rng), (same, _, also, _) = crowd_scene(11), crowd_scene(11)
    assert one == same and who == also and what == SKILLS[11 % len(SKILLS)] and not one.extras
    first, second = film(one, what, rng), film(one, what, rng)
    assert first.extras and second.extras and first.hall != second.hall and first.styles == second.styles == one.styles


def test_a_body_that_is_only_checked_on_is_not_shown():
    number = next(n for n in range(100) if is_checked(crowd_scene(n)[2]))
    assert crops(number)[0] == []


def test_crops_are_labelled_and_come_back_from_their_file(tmp_path):
    pytest.importorskip("moderngl")
    number = next(n for n in range(100) if not is_checked(crowd_scene(n)[2]))
    made, rows = crops(number)
    assert 0 < len(made) == len(rows) <= 16 and made[0].shape == (256, 256, 3)
    hips = rows["xy"][:, [23, 24]].mean(axis=1)
    assert np.abs(hips - 128).max() < 40 and (rows["person"] == 1).all()
    assert set(np.flatnonzero(rows["marked"].any(axis=0))) == set(JOINTS)
    write(tmp_path / "crowd.npz", made, rows)
    assert len(Staged.load(tmp_path).labels) == len(made)
