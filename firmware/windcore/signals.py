"""What a board hands to the control step, and what it gets back. Made once, filled in place."""

from windcore.ticks import ticks_diff


class Inputs:
    """What was read.

    pulses: the hardware counter, widened, modulo 2^30. Every counter here begins anywhere, wraps at 2^30, and is read
    through `counted`.
    switches: bit mask of the switches that are active now (a stop button pressed, a guard open).
    silent_ms: time since a host was last heard, capped below 2^29.
    illegal: transitions that two channels cannot make, as the counter has seen them since the start; stays
    as it is where a board does not look for them.
    wheel_pulses: the measuring wheel's counter; stays as it is where there is none.
    lapses: how often the board has turned the motor off by itself, modulo 2^16; begins anywhere.
    """

    def __init__(self) -> None:
        self.pulses = 0
        self.switches = 0
        self.silent_ms = 0
        self.illegal = 0
        self.wheel_pulses = 0
        self.lapses = 0


def counted(later: int, earlier: int) -> int:
    """What a counter has counted between two readings, signed, right across its wrap, for less than 2^29 either way."""
    return ticks_diff(later, earlier)  # it wraps where the clock does


# What the lamp of a hand-driven winder tells.
LAMP_OFF = 0
LAMP_WIND = 1
LAMP_SLOWER = 2
LAMP_NEARLY = 3
LAMP_STOP = 4


class Outputs:
    """What to do.

    duty: thousandths of full drive, 0 to 1000. brake: 1 shorts the motor while duty is 0.
    step_rate: steps a second for a stepper. lamp: one of LAMP_*. buzzer: 0 or 1.
    """

    def __init__(self) -> None:
        self.duty = 0
        self.brake = 0
        self.step_rate = 0
        self.lamp = LAMP_OFF
        self.buzzer = 0

    def off(self) -> None:
        """Drive off, brake off; lamp and buzzer stay."""
        self.duty = 0
        self.brake = 0
        self.step_rate = 0
