"""The Raspberry Pi Pico, and its successor with the RP2350: counters and steps in PIO, registers beside the watchdog.

State machines 0 to 2 are the shaft's counter, the wheel's and the steps; 3 watches that the shaft's two channels change
in turns. All are in the first block: on boards with a radio its driver takes room in another.

What was read in MicroPython 1.28's sources for this file stands in `boards/README.md`.
"""

import sys

import machine

from boards.description import load
from boards.hardware import HardwareBoard, input_pin
from boards.motor_drive import PwmDrive
from boards.pio_counter import PulseCounter, QuadratureCounter
from boards.pio_steps import StepMaker
from windlink import codes

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from boards.description import Description
    from boards.hardware import Counter

SHAFT_MACHINE, WHEEL_MACHINE, STEP_MACHINE, CHECK_MACHINE = range(4)

# Base of the watchdog's registers, by the data sheets of RP2040 (4.7.6) and RP2350 (12.9.7).
_WATCHDOG = {"pico": 0x40058000, "pico2": 0x400D8000}
_WATCHDOG_RUNS = 1 << 30  # in its first register, which only a reset of the chip clears

# Scratch registers 0 to 3 and 5 outlive a reset of the chip and are nobody else's: 4 is the boot program's, and 5 to 7
# are its only with a certain value in 4, which MicroPython never writes. They are regions 0 and 1 of
# machine.mem_backup where there is one (1.29), which is not needed for them.
_BACKUP = (0x0C, 0x10, 0x14, 0x18, 0x20)


class ScratchWords:
    """Registers at these addresses as words of 30 bits."""

    def __init__(self, addresses: "list[int]") -> None:
        # made once: an address above 2^30 lies on the heap
        self._addresses = addresses

    def __getitem__(self, index: int) -> int:
        """A word. Allocates nothing where it is one of ours."""
        value: int = machine.mem32[self._addresses[index]]
        return value

    def __setitem__(self, index: int, value: int) -> None:
        """Set a word. Allocates nothing."""
        machine.mem32[self._addresses[index]] = value


def _counter(description: "Description", number: int, role: str, debounce_us: int, check_number: int = -1) -> "Counter":
    """The counter of a sensor with one channel or two. check_number: as for a QuadratureCounter."""
    first = input_pin(description, role + "_a")
    if description.pin(role + "_b") < 0:
        return PulseCounter(number, first, debounce_us)
    return QuadratureCounter(number, first, input_pin(description, role + "_b"), check_number)


def _cause(watchdog: int) -> int:
    """What caused this start. After a restart of the interpreter the chip still tells the cause of the reset before,
    but the watchdog of the program before still runs."""
    if machine.mem32[watchdog] & _WATCHDOG_RUNS:
        return codes.SOFT_RESET
    return codes.WATCHDOG if machine.reset_cause() == machine.WDT_RESET else codes.POWER_ON


def open_board(arguments: "list[str]") -> HardwareBoard:
    """The board with the machine that its `machine.json` describes. Raises DescriptionError."""
    del arguments  # a board has none
    name = "pico2" if "RP2350" in getattr(sys.implementation, "_machine", "") else "pico"
    description = load(name)
    watchdog = _WATCHDOG[name]
    counter = _counter(description, SHAFT_MACHINE, "sensor", description.number("debounce_us"), CHECK_MACHINE)
    wheel = None
    if description.pin("wheel_a") >= 0:
        wheel = _counter(description, WHEEL_MACHINE, "wheel", description.number("wheel_debounce_us"))
    has_dc = description.pin("motor_pwm") >= 0
    has_steps = description.pin("step") >= 0
    return HardwareBoard(
        name,
        description,
        counter,
        wheel,
        PwmDrive(machine.Pin(description.pin("motor_pwm")), description.number("pwm_hz")) if has_dc else None,
        StepMaker(STEP_MACHINE, machine.Pin(description.pin("step"))) if has_steps else None,
        ScratchWords([watchdog + offset for offset in _BACKUP]),
        _cause(watchdog),
        timer_number=-1,
        hard_timer=True,
    )
