"""A DC motor on a PWM pin, and a step pin on another: what turns the motor on a board that makes both by PWM."""

import time

from machine import PWM

from boards.motor_pins import let_go

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from machine import Pin

_FULL = 65535


class PwmDrive:
    """The PWM pin of a DC motor; the counter behind it is there only while it is needed."""

    def __init__(self, pin: "Pin", pwm_hz: int) -> None:
        self._pin = pin
        self._hz = pwm_hz
        self._pwm: "PWM | None" = None
        self.low()

    def low(self) -> None:
        """Take the pin from the counter and drive it low; from an interrupt as well. Allocates nothing."""
        self._pin.init(self._pin.OUT, value=0)

    def drive(self, permille: int) -> None:
        """Thousandths of full from the next period on."""
        if self._pwm is None:
            if not permille:
                return
            self._pwm = PWM(self._pin, freq=self._hz, duty_u16=0)
        self._pwm.duty_u16(permille * _FULL // 1000)

    def off(self) -> None:
        """Duty 0, two periods, release, pin low."""
        pwm = self._pwm
        self._pwm = None
        if pwm is None:
            self.low()
        else:
            let_go(pwm, self.low, time.sleep_us, 1000000 // self._hz + 1)


class PwmSteps:
    """The step pin of a stepper: a PWM whose frequency is the rate, half of the time high."""

    def __init__(self, pin: "Pin") -> None:
        self._pin = pin
        self._pwm: "PWM | None" = None
        self._rate = 0
        self.low()

    def low(self) -> None:
        """Take the pin from the counter and drive it low."""
        self._pin.init(self._pin.OUT, value=0)

    def drive(self, rate: int) -> None:
        """Steps a second from now on; 0 for none."""
        if rate == self._rate:
            return
        pwm = self._pwm
        if pwm is None:
            pwm = self._pwm = PWM(self._pin, freq=rate, duty_u16=0)
        elif rate:
            pwm.freq(rate)
        pwm.duty_u16(_FULL // 2 if rate else 0)
        self._rate = rate

    def off(self) -> None:
        """No more steps, pin low. Waits for no period: one may last a second, and a level makes no step."""
        pwm = self._pwm
        self._pwm = None
        self._rate = 0
        self.low()
        if pwm is not None:
            pwm.duty_u16(0)
            pwm.deinit()
            self.low()
