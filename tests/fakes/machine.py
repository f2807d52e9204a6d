"""The machine module of each port, on the pins of the world. What the real one refuses, this one refuses.

Read in ports/rp2 and ports/esp32 of MicroPython: machine_pin.c, machine_adc.c, machine_pwm.c, machine_timer.c,
machine_wdt.c, modmachine.c, and in extmod/machine_mem.c.
"""

from fakes.world import WORLD, Pulse

_CONTROL = {"rp2": 0x40058000}
_PIN_STATUS = range(0x40014000, 0x40014000 + 8 * 30, 8)  # of IO_BANK0: bit 13 whether a pin is driven, bit 9 how
_ENABLED = 1 << 30
_INPUT_ONLY = range(34, 40)  # of the ESP32
_LEVEL_PINS = {"rp2": range(26, 30), "esp32": range(32, 40)}
_HIGHEST_PIN = {"rp2": 29, "esp32": 39}

PWRON_RESET = 1
HARD_RESET = 2
WDT_RESET = 3
SOFT_RESET = 5


class Pin:
    """machine.Pin."""

    IN = 0
    OUT = 1
    PULL_UP = 1
    PULL_DOWN = 2

    def __init__(self, number, mode=-1, pull=-1, value=None):
        if not 0 <= number <= _HIGHEST_PIN[WORLD.port]:
            raise ValueError("invalid pin")
        self.number = number
        if mode != -1:
            self.init(mode, pull, value=value)

    def init(self, mode, pull=-1, value=None):
        """Takes the pin from whatever drove it. Without a word of a pull an RP2040 has none, an ESP32 the last one."""
        pin = WORLD.pin(self.number)
        if mode == Pin.OUT:
            if WORLD.port == "esp32" and self.number in _INPUT_ONLY:
                raise ValueError("pin can only be input")
            pin.to_out(value)
        else:
            pin.driven_by = None
        if pull != -1 or WORLD.port == "rp2":
            pin.pull = 1 if pull == Pin.PULL_UP else 0

    def value(self, level=None):
        """Read, or set the output's register: a pin that a PWM or a state machine has does not follow it."""
        pin = WORLD.pin(self.number)
        if level is None:
            return pin.level()
        if pin.driven_by in (None, "out"):
            pin.out_level = 1 if level else 0
        return None


class ADC:
    """machine.ADC: what a pin reads, 12 bits spread over 16. The pin's pull is off, and no program drives it."""

    def __init__(self, pin):
        if pin.number not in _LEVEL_PINS[WORLD.port]:
            raise ValueError("invalid pin")
        self._pin = WORLD.pin(pin.number)
        self._pin.driven_by = None

    def read_u16(self):
        """65535 at the supply's voltage."""
        raw = self._pin.permille_outside * 4095 // 1000
        return raw << 4 | raw >> 8


class PWM:
    """machine.PWM."""

    def __init__(self, pin, freq, duty_u16=0):
        assert 8 <= freq <= 40000000
        self._pin = WORLD.pin(pin.number)
        self._pin.pulse = Pulse(freq, WORLD.port == "rp2")
        self._pin.driven_by = "pwm"
        self.duty_u16(duty_u16)

    def duty_u16(self, duty):
        """From the next period on."""
        assert 0 <= duty <= 65535
        self._pin.pulse.set(duty, WORLD.now_us)

    def freq(self, hz):
        """Anew."""
        assert hz > 0, "ValueError on the board"
        self._pin.pulse.period_us = 1000000 // hz

    def deinit(self):
        """On the RP2040 the pin keeps the level of this moment; on the ESP32 it goes low."""
        self._pin.pulse.release(WORLD.now_us)


class Timer:
    """machine.Timer. On the ESP32 no callback is hard; on the RP2040 only number -1 exists."""

    PERIODIC = 1
    ONE_SHOT = 0

    def __init__(self, number=None):
        if WORLD.port == "rp2":
            assert number in (None, -1), "Timer doesn't exist"
        else:
            assert number in (0, 1, 2, 3)
        self.due_us = 0

    def init(self, mode=1, period=0, callback=None, hard=False):
        """Begin."""
        if hard and WORLD.port == "esp32":
            raise ValueError("hard Timers are not implemented")
        assert mode == Timer.PERIODIC
        assert period > 0
        self._period_us = period * 1000
        self._callback = callback
        self._hard = hard
        self.due_us = WORLD.now_us + self._period_us
        if self not in WORLD.timers:
            WORLD.timers.append(self)

    def deinit(self):
        """End."""
        if self in WORLD.timers:
            WORLD.timers.remove(self)

    def run(self, now_us, interpreting):
        """Called by the world."""
        if now_us >= self.due_us:
            self.due_us += self._period_us
            if self._hard or interpreting:
                self._callback(self)


class WDT:
    """machine.WDT: nothing stops it but a reset of the chip."""

    def __init__(self, id=0, timeout=5000):  # noqa: A002 - as the real one names it
        assert id == 0
        if WORLD.port == "rp2" and timeout > 8388:
            raise ValueError("timeout exceeds 8388")
        WORLD.patience_us = timeout * 1000
        self.feed()

    def feed(self):
        """Put the bite off."""
        WORLD.bites_at_us = WORLD.now_us + WORLD.patience_us


class _Memory:
    """machine.mem32: registers that outlive a reset, and the watchdog's control."""

    def __getitem__(self, address):
        assert address % 4 == 0
        if address == _CONTROL.get(WORLD.port):
            return _ENABLED if WORLD.bites_at_us is not None else 0
        if WORLD.port == "rp2" and address in _PIN_STATUS:
            pin = WORLD.pin((address - _PIN_STATUS.start) // 8)
            return (pin.level() << 9 | 1 << 13) if pin.driven_by else 0
        return WORLD.registers.get(address, 0)

    def __setitem__(self, address, value):
        assert address % 4 == 0
        assert address != 0x4005801C, "scratch 4 is the chip's own"
        WORLD.registers[address] = value & 0xFFFFFFFF


mem32 = _Memory()


class RTC:
    """machine.RTC, whose memory outlives all but a loss of power."""

    def memory(self, data=None):
        """Read all, or write."""
        assert WORLD.port == "esp32"
        if data is None:
            return WORLD.rtc
        WORLD.rtc = bytes(data)
        return None


def reset_cause():
    """The RP2040 knows of no restart of the interpreter: it tells the cause of the reset before."""
    if WORLD.port == "esp32" and WORLD.restarted:
        return SOFT_RESET
    return WDT_RESET if WORLD.caused_by_watchdog else PWRON_RESET


def reset():
    """On the RP2040 it looks like a bite of the watchdog afterwards."""
    WORLD.chip_reset(True)
    raise SystemExit


def unique_id():
    """Eight bytes."""
    return b"\x01\x02\x03\x04\x05\x06\x07\x08"
