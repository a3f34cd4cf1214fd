"""Gaps through which both directions run on: filled where it must be the same person, left where it may be somebody else."""

import numpy as np
from numpy.testing import assert_array_equal

from pipeline.landmarks.bridges import bridge
from pipeline.landmarks.chain import Passes
from tests.landmarks.stickman import body, path_of, person_of

SIZE, N_FRAMES, GAP = 50.0, 60, slice(25, 35)
T = np.arange(N_FRAMES) / 30
HERS = np.array([body(200 + 2 * i, 200, SIZE) for i in range(N_FRAMES)])


def lost(rows: slice = GAP) -> np.ndarray:
    xy = HERS.copy()
    xy[rows] = np.nan
    return xy


def bridged(person, others, ways):
    paths = [path_of(xy, step=step) for xy, step in ways]
    return bridge([person, *others], paths, Passes(paths, T))


def test_a_gap_that_both_directions_run_through_is_filled():
    person = person_of(lost())
    assert bridged(person, [], [(HERS, 1), (HERS, -1)]) == 10
    assert person.valid.all()
    assert_array_equal(person.xy, HERS)


def test_one_direction_alone_a_leap_an_end_or_a_long_gap_bridges_nothing():
    away = HERS.copy()
    away[GAP] += [2 * SIZE, 0.0]  # there and back in leaps
    for rows, ways in (
        (GAP, [(HERS, 1)]),
        (GAP, [(HERS, 1), (HERS, 1)]),
        (GAP, [(away, 1), (away, -1)]),
        (GAP, [(lost(), 1), (lost(), -1)]),
        (slice(0, 10), [(HERS, 1), (HERS, -1)]),
        (slice(50, 60), [(HERS, 1), (HERS, -1)]),
        (slice(10, 50), [(HERS, 1), (HERS, -1)]),
    ):
        person = person_of(lost(rows))
        assert bridged(person, [], ways) == 0
        assert_array_equal(person.xy, lost(rows))


def test_shards_on_the_same_body_lose_it_but_not_who_came_from_elsewhere():
    shard = np.full_like(HERS, np.nan)
    shard[20:40] = HERS[20:40]
    person, other = person_of(lost()), person_of(shard)
    assert bridged(person, [other], [(HERS, 1), (HERS, -1)]) == 10
    assert person.valid.all() and not other.valid[GAP].any()
    neighbour = np.array([body(350, 200, SIZE)] * N_FRAMES)
    neighbour[GAP] = HERS[GAP]  # her way leads to somebody with a place of their own
    person, other = person_of(lost()), person_of(neighbour)
    assert bridged(person, [other], [(HERS, 1), (HERS, -1)]) == 0
    assert other.valid.all() and not person.valid[GAP].any()
