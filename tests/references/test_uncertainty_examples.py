"""The law of propagation, against the worked example of its own guide and a reference library."""

from __future__ import annotations

from math import sqrt

import pytest
from uncertainties import ufloat

from reelwright.winding.uncertainty import estimate_of, half_pulse_u

# JCGM 100, example H.1, an end gauge of 50 mm: lengths in nm
STANDARD_NM = (50_000_623.0, 25.0)
DIFFERENCE_NM = (215.0, sqrt(5.8**2 + 3.9**2 + 6.7**2))
ALPHA_PER_K = (11.5e-6, 2e-6 / sqrt(3))
DELTA_ALPHA_PER_K = (0.0, 1e-6 / sqrt(3))
DELTA_THETA_K = (0.0, 0.05 / sqrt(3))
THETA_K = (-0.1, sqrt(0.2**2 + 0.5**2 / 2))


def test_the_end_gauge_of_the_guide_comes_out_as_printed() -> None:
    standard, difference = ufloat(*STANDARD_NM, "standard"), ufloat(*DIFFERENCE_NM, "difference")
    expansion = ufloat(*DELTA_ALPHA_PER_K) * ufloat(*THETA_K) + ufloat(*ALPHA_PER_K) * ufloat(*DELTA_THETA_K)
    estimate = estimate_of(standard + difference - standard * expansion)
    assert round(estimate.value) == 50_000_838
    assert estimate.u == pytest.approx(31.664, abs=0.001)
    assert round(estimate.u) == 32
    assert estimate.dominant == "standard"


def test_the_guides_sensitivities_squared_and_added_give_the_same() -> None:
    # as printed in H.1.3: 1, 1, -ls theta, -ls alpha; those of alpha and theta vanish
    length = STANDARD_NM[0]
    parts = (
        STANDARD_NM[1],
        DIFFERENCE_NM[1],
        -length * THETA_K[0] * DELTA_ALPHA_PER_K[1],
        -length * ALPHA_PER_K[0] * DELTA_THETA_K[1],
    )
    assert sqrt(sum(part * part for part in parts)) == pytest.approx(31.664, abs=0.001)


def test_a_count_is_three_even_spreads_of_a_pulse() -> None:
    # JCGM 100, 4.3.7: a rectangle of half-width a has u = a / sqrt(3); variances of independent inputs add (5.1.2).
    # The target's rounding, where in a pulse the sensor starts, and where in a pulse the spool rests
    assert half_pulse_u(10) == pytest.approx(sqrt(3 * (0.05 / sqrt(3)) ** 2))


def test_nothing_uncertain_has_no_error_bar_and_names_nothing() -> None:
    estimate = estimate_of(5.0)
    assert (estimate.u, estimate.dominant, dict(estimate.shares)) == (0.0, "", {})
