"""Looks at pins of an RP2040 or RP2350 without touching them. Runs on the board.

IO_BANK0 has two registers for each pin, of which the first tells what reaches the pad: bit 13 whether it is driven,
bit 9 how (RP2040 Datasheet, 2.19.6.1, GPIO0_STATUS; RP2350 Datasheet, 9.11.1, the same bits).
"""

import machine

IO_BANK0 = {"RP2040": 0x40014000, "RP2350": 0x40028000}
WATCHDOG = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
DRIVEN, HIGH = 1 << 13, 1 << 9
RUNS = 1 << 30  # in the watchdog's first register (RP2040 Datasheet, 4.7.6; RP2350 Datasheet, 12.9.7)


def held_low(chip, pins):
    """For each pin whether the chip drives it, and drives it low."""
    told = {}
    for pin in pins:
        status = machine.mem32[IO_BANK0[chip] + 8 * pin]
        told[pin] = bool(status & DRIVEN) and not status & HIGH
    return told


def watchdog_runs(chip):
    """Whether the program before has left a watchdog, as it does unless it was asked to leave the port."""
    return bool(machine.mem32[WATCHDOG[chip]] & RUNS)


def sees_itself(pin):
    """Whether the chip reads at a pin what it drives there, as it does where nothing else is on it; lets it go."""
    driver = machine.Pin(pin, machine.Pin.OUT, value=0)
    seen = []
    for level in (0, 1, 0, 1):
        driver.value(level)
        seen.append(driver.value())
    driver.init(machine.Pin.IN, machine.Pin.PULL_DOWN)
    return seen == [0, 1, 0, 1]


def follows(source, target):
    """Whether a pin is wired to another: drives the one both ways, and lets it go."""
    driver = machine.Pin(source, machine.Pin.OUT, value=0)
    reader = machine.Pin(target, machine.Pin.IN, machine.Pin.PULL_DOWN)
    seen = []
    for level in (0, 1, 0, 1):
        driver.value(level)
        seen.append(reader.value())
    driver.init(machine.Pin.IN, machine.Pin.PULL_DOWN)
    return seen == [0, 1, 0, 1]
