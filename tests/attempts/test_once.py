"""What follows from a clip is computed once for all its attempts, and for that clip alone."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from pipeline.attempts import floor
from pipeline.attempts.find import find_attempts
from pipeline.attempts.once import once
from pipeline.measures.measure import measure_attempt
from tests.attempts.routines import routine
from tests.measures.bodies import film


@dataclass(frozen=True)
class Thing:
    values: np.ndarray


def counted():
    calls = []

    @once
    def scaled(thing: Thing, by: float) -> np.ndarray:
        calls.append(by)
        return thing.values * by

    return scaled, calls


def test_computed_once_for_each_object_and_each_value_asked_for():
    scaled, calls = counted()
    one, two = Thing(np.ones(3)), Thing(np.ones(3))
    assert scaled(one, 2.0) is scaled(one, 2.0) and calls == [2.0]
    assert scaled(one, 3.0)[0] == 3.0 and scaled(two, 2.0)[0] == 2.0 and calls == [2.0, 3.0, 2.0]
    assert scaled(replace(one, values=np.zeros(3)), 2.0)[0] == 0.0  # a changed copy is another object


def test_nobody_can_change_what_all_share():
    scaled, _ = counted()
    with pytest.raises(ValueError, match="read-only"):
        scaled(Thing(np.ones(3)), 2.0)[0] = 5.0


def test_a_clips_floor_is_found_once_for_all_its_attempts(monkeypatch):
    lines = []
    plain = floor._asymmetric_line
    monkeypatch.setattr(floor, "_asymmetric_line", lambda *args: lines.append(1) or plain(*args))
    track = film(routine()[0], noise=1.0)
    found = find_attempts(track)
    assert len(found) >= 4
    for attempt in found:
        measure_attempt(track, attempt)
    assert len(lines) == 1
