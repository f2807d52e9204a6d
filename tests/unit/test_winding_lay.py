"""How far a layer raises the next: the limits of each model."""

from __future__ import annotations

from math import pi

import pytest

from reelwright.winding.lay import default_rise_u, rise_factor


def test_a_model_that_nobody_knows_is_named() -> None:
    with pytest.raises(ValueError, match="no rise model is called 'woven'"):
        rise_factor("woven", 1.8, 1.75)


def test_crossing_strand_at_two_diameters_rises_by_the_mean_height_of_a_semicircle() -> None:
    # the mean of sqrt(1 - u^2) over 0 to 1 is pi/4; a pitch that rounding put a hair beyond is meant to be that one
    for pitch in (2.0, 2.0 * (1 + 5e-10)):
        assert rise_factor("crossing", pitch * 1.75, 1.75) == pytest.approx(pi / 4, rel=1e-9)
    with pytest.raises(ValueError, match="sinks through"):
        rise_factor("crossing", 2.0 * (1 + 1e-8) * 1.75, 1.75)


def test_a_measured_rise_is_unsure_by_a_hundredth() -> None:
    # 0.3 mm on the outer diameter over ten layers of 1.75 mm is 0.3 / 35; own figure, rounded up
    assert 0.3 / 35 < default_rise_u(0.95, 1.8, 1.75) == 0.01
