"""What a drawn line shows beside its number."""

import numpy as np
import pytest

from pipeline.reports.overlay import drawn_straighter


def leg(degrees: float) -> tuple[tuple[float, float], ...]:
    """Hip, knee and ankle of a knee that shows so many degrees in the picture."""
    a = np.radians(degrees)
    return (100.0, 0.0), (0.0, 0.0), (float(80 * np.cos(a)), float(80 * np.sin(a)))


def test_a_knee_drawn_straighter_than_its_interval_is_told():
    assert drawn_straighter(leg(176.0), 166.0) == pytest.approx(176.0)
    assert drawn_straighter(leg(176.0), 175.9) == pytest.approx(176.0)
    assert drawn_straighter(leg(176.0), 176.1) is None


def test_one_drawn_more_bent_half_a_line_or_no_number_is_not():
    assert drawn_straighter(leg(140.0), 170.0) is None
    assert drawn_straighter(leg(176.0)[:2], 100.0) is None
    assert drawn_straighter(leg(176.0), float("nan")) is None
    assert drawn_straighter(((0.0, 0.0),) * 3, 100.0) is None
