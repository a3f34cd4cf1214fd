"""The floor line on athletes who stand on a known floor."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.attempts.floor import find_floor
from pipeline.attempts.signals import trunk_length
from pipeline.landmarks.track import INDEX
from tests.measures import bodies
from tests.measures.bodies import film
from tests.measures.stick import TRUNK


@pytest.mark.parametrize("tilt", [-5.0, -2.0, 0.0, 3.0])
def test_the_phones_tilt_is_found_where_the_athlete_travels(tilt: float) -> None:
    track = film(bodies.walk(), tilt=tilt, noise=1.0)
    floor = find_floor(track, trunk_length(track))
    assert floor is not None and abs(-np.degrees(np.arctan(floor.slope)) - tilt) < 1.0


@pytest.mark.parametrize("tilt", [-4.0, 0.0, 4.0])
@pytest.mark.parametrize("motion", [bodies.shoulder_stand(), bodies.backward_roll()], ids=["shoulder stand", "roll"])
def test_up_is_where_a_standing_child_points(motion: bodies.Motion, tilt: float) -> None:
    track = film(motion, tilt=tilt, noise=1.0)
    floor = find_floor(track, trunk_length(track))
    assert floor is not None and abs(-floor.lean - tilt) < 1.5  # drawn a little towards level


@pytest.mark.parametrize("motion", [bodies.backward_roll(), bodies.lunge(), bodies.cartwheel()], ids=["roll", "lunge", "cartwheel"])
def test_heights_are_those_the_body_was_built_with(motion: bodies.Motion) -> None:
    track = film(motion, noise=1.0, tilt=2.0)
    unit = trunk_length(track)
    floor = find_floor(track, unit)
    assert floor is not None
    built = motion.joints[:, INDEX["left_hip"], 2] / TRUNK
    seen = floor.height(track.xy, track.t)[:, INDEX["left_hip"]] / unit
    assert np.median(np.abs(seen - built)) < 0.08


def test_nothing_at_rest_is_no_floor() -> None:
    track = film(bodies.walk(), noise=0.0)
    spinning = track.xy + 400 * np.sin(40 * track.t)[:, None, None]
    from dataclasses import replace

    assert find_floor(replace(track, xy=spinning), 100.0) is None
