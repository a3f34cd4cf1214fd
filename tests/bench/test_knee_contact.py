"""Learning when a knee rests, on made-up rolls whose answer is known."""

from __future__ import annotations

import numpy as np

from pipeline.bench.knee_contact import judged, learn, summary
from pipeline.bench.scenes import body_of
from pipeline.measures.roll_contact import SURE, Signs

Known = list[tuple[str, Signs, float]]


def made_up(n: int, noise: float, seed: int = 1) -> Known:
    """n rolls, two in five on the knees: knees at -1 % of the shank for 0.1 to 0.8 s, the others at 12 to 60 %."""
    rng = np.random.default_rng(seed)
    out = []
    for i in range(n):
        touch = i % 5 < 2
        seconds = float(rng.uniform(0.1, 0.8)) if touch else 0.0
        low = (-1.0 if touch else float(rng.uniform(12, 60))) + noise * float(rng.standard_normal())
        read = max(seconds + 0.05 * float(rng.standard_normal()), 0.0) if touch else 0.0
        out.append((f"clip{i}", Signs(low, float(rng.normal(-15 if touch else 0, 10)), read, 1.0), seconds))
    return out


def test_rolls_well_apart_are_decided_rightly() -> None:
    rows = judged(made_up(60, 2.0))
    assert ((rows.low > 0) == (rows.true > 0)).all()
    assert (rows.high[rows.true == 0] < 0.1).all()
    assert ((rows.low <= rows.true) & (rows.true <= rows.high)).mean() >= 0.9
    assert "decided 60 (100 %), rightly 60" in summary(rows)


def test_signs_that_say_nothing_decide_nothing() -> None:
    rng = np.random.default_rng(3)
    known = [(f"c{i}", Signs(float(rng.uniform(0, 10)), float(rng.normal(0, 10)), 0.2, 1.0), 0.3 if i % 2 else 0.0) for i in range(60)]
    model = learn(known)
    assert all(1 - SURE < model.chance(s) < SURE for _, s, _ in known)
    assert (judged(known).low == 0).all()


def test_the_time_of_a_touch_is_as_doubtful_as_it_was_read() -> None:
    assert abs(learn(made_up(200, 1.0)).seconds_sd - 0.05) < 0.015


def test_each_child_is_judged_by_the_others() -> None:
    """All clips of one body of the benchmark, numbered alike, are left out together: a child who alone touches at 20 % teaches nobody."""
    known = made_up(60, 1.0)
    same = [f"tune/T1-{i:03d}_2026-02-01_1" for i in range(600) if body_of(f"T1-{i:03d}_2026-02-01_1") == body_of("T1-000_2026-02-01_1")][
        :20
    ]
    assert len(same) == 20
    odd = [(clip, Signs(20.0, 0.0, 0.5, 1.0), 0.5) for clip in same]
    rows = judged(known + odd)
    assert (rows.chance[rows["clip"].isin(same)] < 0.1).all()
