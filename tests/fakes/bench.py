"""A board of either port on the bench: switched on, restarted, and joined to a shaft."""

import json

import fakes.board_modules  # the board's modules must be there before its files
import fakes.clock
import fakes.console
import fakes.esp32
import fakes.machine
from boards import console, hardware, motor_drive
from fakes.world import WORLD, Shaft

FLASH_MS = 120  # that an erase and a write of flash hold up everything but the state machines


class Chance:
    """os, of which the boards ask for chance only: two bytes, others at each start."""

    drawn = 0

    def urandom(self, count):
        """So many bytes."""
        Chance.drawn += 1
        return bytes([Chance.drawn * 37 & 255] * count)


hardware.os = Chance()
hardware.time = fakes.clock
motor_drive.time = fakes.clock
console.sys = fakes.console
console.select = fakes.console

SWITCHES = {"stop_button": 1, "guard": 2, "run_out": 4, "tension": 8, "go_button": 16}


class StallingFlash:
    """Two slots, which outlive every restart. Nothing may turn while one is written, and no callback gets its turn."""

    def read(self, slot):
        """What a slot holds."""
        return WORLD.flash.get(slot, b"")

    def write(self, slot, data):
        """Put data there."""
        assert not turns(), "flash is written while the motor is driven"
        WORLD.pass_quietly(1000 * FLASH_MS)
        WORLD.flash[slot] = bytes(data)


hardware.SlotFiles = StallingFlash


# Free on a board of each port, outputs first: an ESP32 has some that can only be read, and some that it starts by.
_FREE = {
    "rp2": tuple(range(2, 23)),
    "esp32": (13, 14, 16, 17, 18, 19, 21, 22, 23, 25, 26, 27, 32, 33, 4, 36, 39),
}


def pins_of(port, channels=1, wheel=False):
    """Pins for each role of a machine that has either motor, and a sensor with one channel or two."""
    roles = ["motor_enable", "motor_pwm", "motor_direction", "step", "step_direction", "lamp", "buzzer", "sensor_a"]
    if channels == 2:
        roles.append("sensor_b")
    if wheel:
        roles.append("wheel_a")
    roles.extend(SWITCHES)
    return dict(zip(roles, _FREE[port]))


LEVEL_PIN = {"rp2": 26, "esp32": 34}
NO_ATTENUATION = fakes.machine.ADC


def describe(port, channels=1, wheel=False, **numbers):
    """Write the description of such a machine into the working folder; its pins. numbers: further keys of it."""
    pins = pins_of(port, channels, wheel)
    if numbers:
        pins["tension_level"] = LEVEL_PIN[port]
    found = {
        "format": 1,
        "board": {"rp2": "pico", "esp32": "esp32"}[port],
        "pins": pins,
        "active_low": ["stop_button", "go_button"],
        "debounce_us": 40,
        "wheel_debounce_us": 40,
    }
    found.update(numbers)
    with open("machine.json", "w") as file:
        file.write(json.dumps(found))
    return pins


def switch_on(port, channels=1, wheel=False, rate=60.0, bounce=0, **numbers):
    """A new machine with its shaft, switched on, and its board. numbers: of a tension level's limits."""
    pins = describe(port, channels, wheel, **numbers)
    WORLD.begin(port)
    WORLD.start_ms = (1 << 30) - 3000
    WORLD.shaft = Shaft(WORLD, pins, rate, bounce=bounce if port == "rp2" else 0)
    WORLD.shaft.wheel_share = 0.5 if "wheel_a" in pins else 0.0
    press(0)
    return opened()


def opened():
    """What main.py does first on this port."""
    if WORLD.port == "rp2":
        for name in ("Counter", "Encoder"):
            if hasattr(fakes.machine, name):
                delattr(fakes.machine, name)
        fakes.machine.ADC = NO_ATTENUATION
        from boards import pico as board_file
    else:
        fakes.machine.ADC = fakes.esp32.ADC
        fakes.machine.Counter = fakes.esp32.Counter
        fakes.machine.Encoder = fakes.esp32.Encoder
        from boards import esp32 as board_file
    return board_file.open_board([])


def press(mask):
    """The switches of this mask are active, the others not."""
    pins = WORLD.shaft._pins
    for role, bit in SWITCHES.items():
        active = 1 if mask & bit else 0
        WORLD.set_level(pins[role], 1 - active if role in ("stop_button", "go_button") else active)


def motor_pins():
    """The pins that turn the motor, the enabling one first."""
    pins = WORLD.shaft._pins
    return [pins[role] for role in ("motor_enable", "motor_pwm", "step") if role in pins]


def turns():
    """Whether the driver turns the motor: enabled, and pulses or steps on their way."""
    enable, pulses, steps = [WORLD.pin(number) for number in motor_pins()]
    if not enable.level():
        return False
    stepped = steps.driven_by == "pio" and any(machine.makes_steps() for machine in WORLD.machines.values())
    return stepped or pulses.permille() > 0 or (steps.driven_by == "pwm" and steps.permille() > 0)


def low():
    """Whether every motor pin is low, and stays so."""
    for number in motor_pins():
        pin = WORLD.pin(number)
        if pin.level() or pin.permille() or pin.driven_by == "pio":
            return False
    return True
