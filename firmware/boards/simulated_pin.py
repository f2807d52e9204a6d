"""A motor pin with the habits of the RP2040's, as MicroPython leaves them.

Read in ports/rp2/machine_pwm.c and seen on an emulated chip: a new duty holds from the next period on; `deinit` stops
the counter, so that the pin keeps the level of that moment; whoever sets a duty after it starts the counter again;
only `PWM(pin)` gives the pin to the counter, and only `Pin(pin, OUT)` or a reset takes it away. A soft reset stops the
counters of pins 0 to 7 and 16 to 23 and lets those of 8 to 15 run on; a reset of the chip makes each pin an input with
a pull-down.
"""

PERIOD_US = 50  # 20 kHz, above hearing
FULL = 65535
_RUNS_ON = range(8, 16)


class PwmPin:
    """One pin. The motor driver behind it sees `output_permille`."""

    def __init__(self, number: int) -> None:
        self.number = number
        self._now_us = 0
        self._duty = 0
        self.chip_reset()

    def pwm(self) -> None:
        """`PWM(pin)`: give the pin to the counter."""
        self._to_counter = True

    def duty_u16(self, duty: int) -> None:
        """Set the duty, 0 to 65535, from the next period on; starts a counter that stands."""
        self._next_duty = duty
        self._running = True

    def deinit(self) -> None:
        """Stop the counter: the pin keeps the level of this moment."""
        self._frozen_high = self._high()
        self._running = False

    def low(self) -> None:
        """`Pin(pin, OUT, value=0)`: take the pin from the counter and drive it low."""
        self._to_counter = False

    def chip_reset(self) -> None:
        """What power-on, a watchdog and a brown-out do."""
        self._to_counter = False
        self._running = False
        self._frozen_high = False
        self._duty = 0
        self._next_duty = 0

    def soft_reset(self) -> None:
        """What a restart of the interpreter alone does."""
        if self.number not in _RUNS_ON:
            self.deinit()

    def wait_us(self, time_us: int) -> None:
        """Let time pass."""
        if self._now_us % PERIOD_US + time_us >= PERIOD_US and self._running:
            self._duty = self._next_duty
        self._now_us += time_us

    def output_permille(self) -> int:
        """What the pin gives on the average of a period from now on, thousandths of full."""
        if not self._to_counter:
            return 0
        if self._running:
            return (self._duty * 1000 + FULL // 2) // FULL
        return 1000 if self._high() else 0

    def _high(self) -> bool:
        if not self._running:
            return self._frozen_high
        return self._now_us % PERIOD_US * FULL < self._duty * PERIOD_US
