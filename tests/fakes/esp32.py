"""The counters of an ESP32 and its analogue inputs, on the pins of the world.

Read in ports/esp32/machine_adc.c, where a reading has the range that `atten` asks for.

Read in ports/esp32/modules/machine.py: the hardware holds 16 bits and returns to zero at 32,000 either way; a soft
callback then counts one overflow, however many there were since the last one. With one phase an encoder counts the
edges of A while B is high, a falling one up. In ESP-IDF, pcnt_legacy.c and earlier pulse_cnt.c: the driver pulls the
pins of a counter up.
"""

import fakes.machine
from fakes.world import WORLD

_LIMIT = 32000


class _Unit:
    def __init__(self, filter_ns):
        assert 0 <= filter_ns <= 12787
        self._hardware = 0
        self._overflowed = 0
        self._overflows = 0
        WORLD.listeners.append(self)

    def _add(self, step):
        self._hardware += step
        if abs(self._hardware) >= _LIMIT:
            self._overflowed = step
            self._hardware = 0

    def call_back(self):
        """What the interpreter does when it comes to it."""
        self._overflows += self._overflowed
        self._overflowed = 0

    def value(self):
        """Reading it brings the callback about."""
        self.call_back()
        return self._overflows * _LIMIT + self._hardware


class Counter(_Unit):
    """machine.Counter: rising edges, upwards."""

    def __init__(self, unit, src, filter_ns=0):
        assert unit in range(8)
        self._pin = src.number
        WORLD.pin(self._pin).pull = 1
        super().__init__(filter_ns)

    def edge(self, number, level):
        """A level has changed."""
        if number == self._pin and level:
            self._add(1)


class Encoder(_Unit):
    """machine.Encoder."""

    def __init__(self, unit, phase_a, phase_b, phases=1, filter_ns=0):
        assert unit in range(8)
        assert phases == 1
        self._a = phase_a.number
        self._b = phase_b.number
        WORLD.pin(self._a).pull = WORLD.pin(self._b).pull = 1
        super().__init__(filter_ns)

    def edge(self, number, level):
        """A level has changed."""
        if number == self._a and WORLD.level(self._b):
            self._add(-1 if level else 1)


class ADC(fakes.machine.ADC):
    """machine.ADC, which without `atten` reads no more than a volt."""

    ATTN_11DB = 3

    def __init__(self, pin, atten=0):
        super().__init__(pin)
        assert atten == ADC.ATTN_11DB, "the range ends at a third of the supply's voltage"
