"""An ESP32: counters of its pulse counter unit, PWM of its LED controller, memory of its real-time clock.

Its counters come with MicroPython 1.26. They filter spikes of up to 12.7 us and no more: one channel that bounces needs
a filter of resistor and capacitor, or a sensor that does not bounce; two channels need neither. Its timers interrupt
bytecode only, so a program that hangs in a call of C keeps the motor on until the watchdog bites.
"""

import sys

import machine

from boards.description import BoardError, load
from boards.hardware import HardwareBoard, input_pin
from boards.motor_drive import PwmDrive, PwmSteps
from windcore.journal import WORDS
from windlink import codes
from windlink.job import FASTEST_COUNTED

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Protocol

    from boards.description import Description

    class Unit(Protocol):
        """A machine.Counter or machine.Encoder."""

        def value(self) -> int:
            """What it has counted."""

    class Memory(Protocol):
        """What is needed of a machine.RTC."""

        def memory(self, data: bytearray) -> None:
            """Replace all of it."""


MASK = (1 << 30) - 1
SHAFT_UNIT, WHEEL_UNIT = range(2)
_LONGEST_FILTER_NS = 12700  # of the unit: 1023 periods of 80 MHz

_CAUSES = {"PWRON_RESET": codes.POWER_ON, "WDT_RESET": codes.WATCHDOG, "SOFT_RESET": codes.SOFT_RESET}


class UnitCounter:
    """A counter in hardware. It holds 16 bits, and the interpreter adds the rest in a soft callback: read it at least
    every 30,000 counts, which the control step does at any rate that a job may ask for.

    It looks at the other channel's level at the edge, and does not tell when both changed at once.
    """

    checks = False
    illegal = 0
    counts_up_to = FASTEST_COUNTED  # its filter is short

    def __init__(self, unit: "Unit") -> None:
        self._unit = unit

    def read(self) -> int:
        """Pulses modulo 2^30, from anywhere."""
        return self._unit.value() & MASK


class ClockMemory:
    """Words of 30 bits in the memory of the real-time clock, which all but a loss of power leaves as it is."""

    def __init__(self, clock: "Memory", data: bytes) -> None:
        self._clock = clock
        self._data = bytearray(data if len(data) == 4 * WORDS else 4 * WORDS)

    def __getitem__(self, index: int) -> int:
        """A word. Allocates nothing."""
        data = self._data
        at = 4 * index
        return data[at] | data[at + 1] << 8 | data[at + 2] << 16 | (data[at + 3] & 63) << 24

    def __setitem__(self, index: int, value: int) -> None:
        """Set a word. Allocates nothing."""
        data = self._data
        at = 4 * index
        data[at] = value & 255
        data[at + 1] = value >> 8 & 255
        data[at + 2] = value >> 16 & 255
        data[at + 3] = value >> 24 & 63
        self._clock.memory(data)


def _counter(description: "Description", unit: int, role: str, debounce_us: int) -> UnitCounter:
    """The counter of a sensor with one channel or two."""
    filter_ns = min(_LONGEST_FILTER_NS, 1000 * debounce_us)
    first = input_pin(description, role + "_a")
    if description.pin(role + "_b") < 0:
        counter = UnitCounter(machine.Counter(unit, first, filter_ns=filter_ns))
    else:
        second = input_pin(description, role + "_b")
        # one count a slot, taken back when the shaft turns back
        counter = UnitCounter(machine.Encoder(unit, first, second, phases=1, filter_ns=filter_ns))
        input_pin(description, role + "_b")
    # the driver of the counters pulls its pins up, whatever they had before (ESP-IDF, pulse_cnt.c)
    input_pin(description, role + "_a")
    return counter


def _cause() -> int:
    found = machine.reset_cause()
    for name in _CAUSES:
        if found == getattr(machine, name, None):
            return _CAUSES[name]
    return codes.UNKNOWN_CAUSE


def open_board(arguments: "list[str]") -> HardwareBoard:
    """The board with the machine that its `machine.json` describes. Raises BoardError."""
    del arguments  # a board has none
    if not hasattr(machine, "Counter") or not hasattr(machine, "Encoder"):
        version = ".".join([str(part) for part in sys.implementation.version[:3]])
        raise BoardError(
            "MicroPython %s on this board has no pulse counters: install 1.26 or newer, then the firmware again."
            % version
        )
    description = load("esp32")
    wheel = None
    if description.pin("wheel_a") >= 0:
        wheel = _counter(description, WHEEL_UNIT, "wheel", description.number("wheel_debounce_us"))
    has_dc = description.pin("motor_pwm") >= 0
    has_steps = description.pin("step") >= 0
    clock = machine.RTC()
    return HardwareBoard(
        "esp32",
        description,
        _counter(description, SHAFT_UNIT, "sensor", description.number("debounce_us")),
        wheel,
        PwmDrive(machine.Pin(description.pin("motor_pwm")), description.number("pwm_hz")) if has_dc else None,
        PwmSteps(machine.Pin(description.pin("step"))) if has_steps else None,
        ClockMemory(clock, clock.memory()),
        _cause(),
        timer_number=0,
        hard_timer=False,
    )
