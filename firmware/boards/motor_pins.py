"""The pins that turn the motor, and the two ways to make them safe. Light, since boot.py loads it first of all."""

import sys

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Callable, Protocol

    class Pwm(Protocol):
        """What `let_go` needs of a machine.PWM."""

        def duty_u16(self, duty: int) -> None:
            """Set the duty from the next period on."""

        def deinit(self) -> None:
            """Stop the counter at the level of this moment."""


# Name that the interpreter gives its port -> pins that are low while the motor is off, the enabling one first, where no
# machine is described, or its description cannot be read. None may be high by itself while the chip starts: which may,
# the host's table of boards says. A described machine without a motor may have a sensor there, which drives the pin.
MOTOR_PINS = {"rp2": (16, 17), "esp32": (25, 26)}


def make_safe() -> None:
    """Drive every motor pin low, whatever drove it before; nothing on a board that has none.

    A description with a pin that the chip has not stops no other pin from being made safe, nor the pins of old. Raises
    ValueError after that.
    """
    pins = MOTOR_PINS.get(sys.platform)
    if pins is None:
        return
    described = described_pins("machine.json")
    # loaded here alone, and by name, since a desktop has none
    pin = __import__("machine").Pin
    impossible = None
    for number in pins if described is None else described:
        try:
            pin(number, pin.OUT, value=0)
        except ValueError as failure:
            impossible = failure
    if impossible is not None:
        for number in pins:
            pin(number, pin.OUT, value=0)
        raise impossible


def described_pins(path: str) -> "list[int] | None":
    """The motor's pins by the machine's description, the enabling one first; None where there is no sound one."""
    try:
        with open(path) as file:
            pins = __import__("json").load(file)["pins"]
        roles = __import__("windlink.pins", None, None, ("MOTOR_ROLES",)).MOTOR_ROLES
        return [int(pins[role]) for role in roles if role in pins]
    except Exception:
        # whatever is wrong with it, the motor's pins of old are made safe instead, and the board file says the rest
        return None


def let_go(pwm: "Pwm", low: "Callable[[], None]", wait_us: "Callable[[int], None]", period_us: int) -> None:
    """The one way to end a drive: duty 0, two periods' wait, release, pin low. Safe at whichever step it is cut short.

    low: drives the pin low; it is called even when a step before it raises. A release without the wait would keep the
    pin at the level of that moment, high as often as not.
    """
    try:
        pwm.duty_u16(0)
        wait_us(2 * period_us)
        pwm.deinit()
    finally:
        low()
