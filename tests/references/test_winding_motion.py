"""Ramps, stops and pulse rates, against kinematics and exercises."""

from __future__ import annotations

from fractions import Fraction

import pytest

from reelwright.winding.drive import Ramp
from reelwright.winding.pulses import PulseScale
from windcore.ramp import Ramp as FirmwareRamp
from windcore.ramp import grain_for


def test_turns_to_stop_from_120_rpm() -> None:
    # kinematics: v^2 / 2a, 2 turns/s at 2 turns/s^2, is one turn. The firmware counts in pulses, here 100 a turn,
    # and adds the one pulse of its approach and one that it may already be in.
    grain = grain_for(20000)
    ramp = FirmwareRamp()
    ramp.prepare(20000, 1, 20000, 20000, 0, grain)
    assert ramp.stopping_pulses(200 * grain) - 1 == 100


def test_the_peak_of_a_move_that_never_cruises() -> None:
    # kinematics: sqrt(2 a b D / (a + b)), a = 2, b = 4, D = 100. Creep is made so slow and short that it adds nothing.
    ramp = Ramp(1e9, 1e-6, 2 * 60, 4 * 60, 1e-12)
    assert ramp.peak_rpm(100) / 60 == pytest.approx(16.3299, abs=5e-5)
    assert ramp.seconds(100) == pytest.approx(16.3299 / 2 + 16.3299 / 4, rel=1e-4)


def test_the_firmwares_ramp_peaks_there_too() -> None:
    # the same exercise in pulses: a hundred to a turn
    grain = grain_for(200000)
    ramp = FirmwareRamp()
    ramp.prepare(200000, 10, 20000, 40000, 0, grain)
    turned, peak, rate = 0.0, 0.0, 0
    while turned < 10000:
        rate = ramp.advance(10000 - int(turned), rate, 10)
        peak = max(peak, rate / grain / 100)
        turned += max(rate, 1) / grain * 0.01
    assert peak == pytest.approx(16.3299, rel=0.02)


def test_pulses_of_a_fast_shaft() -> None:
    # rpm/60 x ppr: 2000 rpm x 360 are 12 kHz
    assert PulseScale(Fraction(360)).pulses(Fraction(2000, 60)) == 12_000
