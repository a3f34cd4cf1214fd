"""Smoothness against the authors' worked examples, closed forms and the properties that the papers ask of such a number."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from pipeline.measures.smoothness import spectral_arc_length


def least_jerk(t: np.ndarray) -> np.ndarray:
    """Speed of the movement of least jerk from 0 to 1 in one second (Flash and Hogan 1985): 30 t^2 (1 - t)^2."""
    s = np.clip(t, 0, 1)
    return 30 * s**2 * (1 - s) ** 2


def faltering(parts: int, rate: float = 200.0) -> np.ndarray:
    """`parts` movements of least jerk one after the other, each begun when the one before is three quarters done."""
    t = np.arange(0, 1 + 0.75 * (parts - 1), 1 / rate)
    return sum(least_jerk(t - 0.75 * k) for k in range(parts))


def test_the_authors_worked_examples():
    """siva82kb/SPARC, scripts/smoothness.py: the examples in its docstrings, for exp(-5 t^2) from -1 to 1 s at 100 a second."""
    t = np.arange(-1, 1, 0.01)
    speed = np.exp(-5 * t**2)
    assert spectral_arc_length(speed, 100.0) == pytest.approx(-1.41403, abs=6e-6)


def test_a_bell_shaped_speed_has_the_arc_length_of_its_closed_form():
    """The spectrum of a Gaussian is a Gaussian: with frequency over cutoff as x it is exp(-ln(20) x^2), whatever its width."""
    a = np.log(20.0)
    exact, _ = quad(lambda x: np.hypot(1.0, 2 * a * x * np.exp(-a * x**2)), 0, 1)
    for width in (0.08, 0.15, 0.3):
        t = np.arange(-6 * width, 6 * width, 0.005)
        assert spectral_arc_length(np.exp(-0.5 * (t / width) ** 2), 200.0) == pytest.approx(
            -exact, abs=4e-3
        )  # the cutoff falls between two bins


@given(scale=st.floats(0.01, 100), seconds=st.floats(0.6, 4.0))
def test_neither_size_nor_duration_counts(scale, seconds):
    """The first property that the 2015 paper asks of a measure of smoothness."""
    rate = 200.0
    t = np.arange(0, seconds, 1 / rate)
    speed = scale * least_jerk(t / seconds)
    plain = least_jerk(np.arange(0, 1, 1 / rate))
    assert spectral_arc_length(speed, rate) == pytest.approx(spectral_arc_length(plain, rate), abs=0.02)


def test_every_further_part_makes_a_movement_less_smooth():
    """The second property: the more submovements, the further below 0."""
    sparc = [spectral_arc_length(faltering(parts), 200.0) for parts in (1, 2, 3, 4, 5)]
    assert np.all(np.diff(sparc) < -0.05)


@pytest.mark.parametrize("speed", [np.zeros(20), np.ones(3), np.array([0, 1, np.nan, 1, 0.0])])
def test_no_movement_no_number(speed):
    assert np.isnan(spectral_arc_length(speed, 30.0))
