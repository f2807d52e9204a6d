"""The trapezoid: it obeys its limits, it arrives, and it arrives slowly."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from windcore.ramp import Ramp, grain_for

STEP_MS = 10


@st.composite
def motions(draw: st.DrawFn) -> tuple[int, int, int, int]:
    """Cruise and creep rate, acceleration (hundredths of a pulse per second), pulses to go."""
    cruise = draw(st.integers(100, 1_000_000))
    creep = draw(st.integers(min(cruise, max(1, cruise // 200, 500)), min(cruise, 5000)))
    acceleration = draw(st.integers(max(10, cruise // 4), cruise * 5))
    return cruise, min(creep, cruise), acceleration, draw(st.integers(1, 200 * cruise // 100 + 5))


@given(motions())
def test_an_ideal_drive_arrives_at_creep_and_never_passes_cruise(motion: tuple[int, int, int, int]) -> None:
    cruise, creep, acceleration, distance = motion
    grain = grain_for(cruise)
    ramp = Ramp()
    creep_pulses = max(1, creep // 100)
    ramp.prepare(cruise, creep, acceleration, acceleration, creep_pulses, grain)
    turned = 0.0
    rate = 0
    last = 0
    change = max(1, acceleration * grain // 100 * STEP_MS // 1000)
    for _ in range(2_000_000):
        rate = ramp.advance(distance - int(turned), rate, STEP_MS)
        if turned >= distance:
            break
        assert 0 < rate <= max(1, cruise * grain // 100)
        assert rate - last <= change, "gains rate no faster than allowed"
        last = rate
        turned += rate / grain * STEP_MS / 1000
    assert rate == 0
    # one step at the creep rate is the farthest that it can pass the stop, plus one step of the ramp
    assert turned - distance <= (creep / 100 + change / grain) * STEP_MS / 1000 + 1


@given(motions(), st.integers(0, 32767))
def test_a_slow_brake_is_asked_for_no_more_than_its_share_of_the_rate(
    motion: tuple[int, int, int, int], lag_ms: int
) -> None:
    cruise, creep, acceleration, _ = motion
    grain = grain_for(cruise)
    ramp = Ramp()
    creep_pulses = max(1, creep // 100)
    ramp.prepare(cruise, creep, acceleration, acceleration, creep_pulses, grain)
    even = ramp.stopping_pulses(ramp.fastest)
    ramp.brakes_in(lag_ms)
    distance = ramp.stopping_pulses(ramp.fastest)
    assert distance >= even - 1, "a lag never makes the way shorter"
    # an ideal drive on its way down: the way that is left from a rate is what a share of it in each second needs
    fall = max(1, acceleration * grain // 100)
    least = max(1, creep * grain // 100)
    rates = [least + (ramp.fastest - least) * part // 16 for part in range(17)]
    for slower, faster in pairwise(rates):
        if faster > slower:
            way = (ramp.stopping_pulses(faster) - ramp.stopping_pulses(slower) + 1) * grain
            mean = (slower + faster) / 2
            needed = (
                mean * (faster - slower) / fall if faster * 1000 > fall * lag_ms else (faster - slower) * lag_ms / 1000
            )
            assert way >= needed * 0.98 - 2


@given(st.integers(1, 2_000_000))
def test_the_grain_keeps_rates_and_their_squares_small(full_rate: int) -> None:
    grain = grain_for(full_rate)
    assert full_rate * grain // 100 <= 32767
    assert (full_rate * grain // 100) ** 2 < 1 << 30
