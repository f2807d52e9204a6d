"""Ramps, stops and pulse rates, against kinematics and exercises."""

from __future__ import annotations

from fractions import Fraction

import pytest

from reelwright.winding.drive import Ramp, peak_speed, turns_to_stop
from reelwright.winding.pulses import PulseScale


def test_turns_to_stop_from_120_rpm() -> None:
    # kinematics: v^2 / 2a, 2 turns/s at 2 turns/s^2
    assert turns_to_stop(120, 2 * 60) == 1.0


def test_the_peak_of_a_move_that_never_cruises() -> None:
    # kinematics: sqrt(2 a b D / (a + b)), a = 2, b = 4, D = 100
    assert peak_speed(100, 2, 4) == pytest.approx(16.3299, abs=5e-5)


def test_a_ramp_without_creep_is_the_symmetric_triangle() -> None:
    # the same formula with a = b: the move takes 2 v / a. Creep is made so slow and short that it adds nothing.
    ramp = Ramp(cruise_rpm=1e9, creep_rpm=1e-6, acceleration_rpm_s=120, creep_turns=1e-12)
    peak = peak_speed(50, 2, 2)
    assert ramp.seconds(50) == pytest.approx(2 * peak / 2, rel=1e-4)


def test_pulses_of_a_fast_shaft() -> None:
    # rpm/60 x ppr: 2000 rpm x 360 are 12 kHz
    assert PulseScale(Fraction(360)).pulses(Fraction(2000, 60)) == 12_000
