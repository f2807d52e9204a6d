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


def test_the_peak_of_a_move_from_one_speed_to_another() -> None:
    # kinematics: v^2 = u^2 + 2 a s on the way up, v^2 = w^2 + 2 b (D - s) on the way down; u = 2, w = 1/2, a = 2,
    # b = 4, D = 10 give v^2 = (2 a b D + b u^2 + a w^2) / (a + b) = 176.5 / 6
    ramp = Ramp(1e9, 30, 2 * 60, 4 * 60, 1e-12)
    peak = (176.5 / 6) ** 0.5
    assert ramp.peak_rpm(10, 120) / 60 == pytest.approx(peak, rel=1e-12)
    assert ramp.seconds(10, 120) == pytest.approx((peak - 2) / 2 + (peak - 0.5) / 4, rel=1e-9)


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


def test_pulses_of_a_geared_shaft_are_turns_again() -> None:
    # a crank of 7 pulses that turns once for 3 turns of the spool
    scale = PulseScale(Fraction(7, 3))
    assert scale.turns(7) == 3.0
    assert scale.exact_turns(14) == 6
    assert scale.pulses(Fraction(9)) == 21


@pytest.mark.parametrize(("cruise_rpm", "creep_rpm"), [(300, 60), (120, 40)])
def test_a_sensor_of_one_pulse_a_turn_creeps_at_a_pulse_a_second_or_a_third_of_a_slow_cruise(
    cruise_rpm: float, creep_rpm: float
) -> None:
    assert Ramp.for_sensor(cruise_rpm, 10, 120, 120, 1).creep_rpm == creep_rpm


def test_the_last_approach_is_a_whole_pulse_even_where_that_takes_longer_than_a_second() -> None:
    # a third of 30 rpm are 10 rpm: 6 s for the one pulse of a turn
    ramp = Ramp.for_sensor(30, 5, 120, 120, 1)
    assert (ramp.creep_rpm, ramp.creep_turns) == (10, 1)


def test_the_last_approach_takes_a_second() -> None:
    # 600 pulses a turn: 10 pulses a second are 1 rpm, and a second of them 10 pulses
    ramp = Ramp.for_sensor(120, 10, 120, 120, 600)
    assert ramp.creep_rpm == 1
    assert ramp.creep_turns == 10 / 600
    assert ramp.seconds(ramp.creep_turns) == pytest.approx(1)


def test_a_stop_too_near_for_the_ramp_is_reached_at_the_mean_of_both_speeds() -> None:
    # kinematics: an even change from u to w over D takes 2 D / (u + w); u = 4, w = 1/2 turns/s, D = 1/2
    ramp = Ramp(300, 30, 120, 240, 1e-12)
    assert ramp.seconds(0.5, 240) == pytest.approx(2 * 0.5 / 4.5, rel=1e-9)


def test_a_move_that_cruises_between_two_ramps() -> None:
    # kinematics: from 1 to 3 turns/s at 2 turns/s^2 over 2 turns in 1 s; 1 turn of cruise in 1/3 s; from 3 to 1 turns/s
    # at 4 turns/s^2 over 1 turn in 1/2 s
    ramp = Ramp(180, 60, 120, 240, 1e-12)
    assert ramp.seconds(4, 60) == pytest.approx(1 + 1 / 3 + 1 / 2, rel=1e-9)
    # a drive that is faster than its cruise is reckoned as cruising: 3 turns of it, and the same way down
    assert ramp.seconds(4, 999) == pytest.approx(1 + 1 / 2, rel=1e-9)
