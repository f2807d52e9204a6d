"""The stepper's program of the RP2040: its opcodes, its period on an emulator that is not ours, its rate told anew."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

import fakes.board_modules  # the board's modules must be there before its files
from boards import pio_steps
from fakes.machine import Pin
from fakes.world import WORLD

# By hand from the RP2040's data sheet, section 3.4: jmp !x = 0020 + address; set pins,1 with 9 cycles' delay = E901;
# set pins,0 = E000; mov y,x = A041; jmp y-- = 0080 + address.
STEPS = [0x0020, 0xE901, 0xE000, 0xA041, 0x0084]
STEPS_TEXT = """
.program make_steps
.wrap_target
stand:
    jmp !x stand
    set pins, 1 [9]
    set pins, 0
    mov y, x
gap:
    jmp y-- gap
.wrap
"""
PIN = 9


def program() -> Any:
    return pio_steps.make_steps


def test_the_assembled_program_is_the_golden_opcodes() -> None:
    assert fakes.board_modules
    assert list(program().code) == STEPS


def test_another_assembler_makes_the_golden_opcodes_too() -> None:
    adafruit_pioasm = pytest.importorskip("adafruit_pioasm", reason="not installed: .ci/run installs it")
    assert list(adafruit_pioasm.assemble(STEPS_TEXT)) == STEPS
    ours = [pio_steps.MOV_X_OSR, pio_steps.MOV_Y_OSR]
    assert list(adafruit_pioasm.assemble("mov x, osr\nmov y, osr")) == ours


def rises_emulated(gap: int, cycles: int) -> list[int]:
    """Cycles at which the pin rises on rp2040-pio-emulator."""
    pioemu = pytest.importorskip("pioemu", reason="pip install rp2040-pio-emulator")
    rises = []
    for before, after in pioemu.emulate(
        list(program().code),
        stop_when=lambda _, found: found.clock >= cycles,
        initial_state=pioemu.State(x_register=gap, pin_directions=1),
        set_base=0,
        set_count=1,
        wrap_target=program().wrap_target,
        wrap_top=program().wrap,
    ):
        if after.pin_values & 1 and not before.pin_values & 1:
            rises.append(before.clock)
    return rises


@pytest.mark.parametrize("gap", [1, 2, 20, 333])
def test_a_step_comes_every_gap_and_overhead(gap: int) -> None:
    rises = rises_emulated(gap, 20 * (gap + 14))
    assert {later - earlier for earlier, later in itertools.pairwise(rises)} == {gap + 14}


def test_a_gap_of_none_makes_no_step() -> None:
    assert rises_emulated(0, 2000) == []


def maker() -> pio_steps.StepMaker:
    WORLD.begin("rp2")
    return pio_steps.StepMaker(2, Pin(PIN))


def steps_in(time_us: int) -> int:
    WORLD.now_us += time_us
    return int(WORLD.steps(PIN, time_us))


@pytest.mark.parametrize("rate", [1, 7, 100, 999, 1600, 12345, 50000])
def test_the_steps_in_a_long_time_are_the_rate_to_within_the_clock(rate: int) -> None:
    steps = maker()
    steps.drive(rate)
    seconds = 20
    got = sum(steps_in(10000) for _ in range(100 * seconds))
    period_us = 1000000 // rate
    assert got == pytest.approx(seconds * 1000000 / period_us, abs=1)


def test_the_fastest_rate_is_what_the_overhead_leaves() -> None:
    steps = maker()
    steps.drive(1000000)
    assert steps_in(1000000) == pytest.approx(pio_steps.FASTEST, rel=1e-3)


def test_a_ramp_from_rest_does_not_wait_for_the_slow_steps_it_began_with() -> None:
    steps = maker()
    got = 0
    acceleration = 100  # steps a second, each second
    for step in range(1, 301):
        steps.drive(acceleration * step // 100)
        got += steps_in(10000)
    exact = acceleration * 3.0 * 3.0 / 2
    assert got == pytest.approx(exact, abs=4)


def test_none_asked_for_is_none_made_and_the_pin_is_low_when_it_is_off() -> None:
    steps = maker()
    steps.drive(1000)
    assert steps_in(100000) == 100
    steps.drive(0)
    steps_in(2000)
    assert steps_in(1000000) == 0
    steps.drive(1000)
    assert steps_in(100000) > 90
    steps.low()
    assert (WORLD.level(PIN), steps_in(100000)) == (0, 0)
    steps.off()
    steps.drive(500)
    assert steps_in(1000000) == pytest.approx(500, abs=1)
