"""What no shaft can do: the marks of interference, of a loose wire and of a counter that lies."""

from windcore.signals import Inputs, counted
from windcore.ticks import LOOP_MS

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.job import Job

# Times the greatest rate of the drive beyond which a shaft cannot come within one control step; a hand that spins a
# free spool, or turns a crank, is not bound by the drive. And pulses more, since edges are uneven. Our choice, with no
# source.
_DRIVE_TIMES = 2
_HAND_TIMES = 8
_UNEVEN_PULSES = 3
_LONGEST_STEP_MS = 100
_LONGEST_WRITE_MS = 1000

# Transitions that two channels cannot make, in a second: a speck of dust makes one, a loose wire makes hundreds.
ILLEGAL_A_SECOND = 3
_SECOND_MS = 1000


class Plausibility:
    """Looks at the raw counters from step to step. `value` and `limit` say what a look found."""

    def __init__(self) -> None:
        self.value = 0
        self.limit = 0
        self._rate = 0
        self._channels = 1
        self._begun = False
        self._pulses = 0
        self._step = 0
        self._step_ms = 0
        self._unread_ms = 0
        self._illegal = 0
        self._illegal_ms = 0
        self._illegal_seen = 0

    def prepare(self, job: "Job") -> None:
        """Take a job."""
        self._rate = max(job.full_rate, job.highest_rate)
        self._channels = job.channels

    def skip(self, time_ms: int) -> None:
        """Nothing was read for so long on purpose, while a hand may have turned the spool."""
        self._unread_ms = min(_LONGEST_WRITE_MS, max(0, time_ms))

    def take(self, inputs: "Inputs", step_ms: int) -> None:
        """Take what was read in this step, whatever the state."""
        if not self._begun:
            self._begun = True
            self._pulses = inputs.pulses
            self._illegal = inputs.illegal
        self._step = counted(inputs.pulses, self._pulses)
        self._step_ms = self._unread_ms + min(_LONGEST_STEP_MS, step_ms + LOOP_MS)
        self._unread_ms = 0
        self._pulses = inputs.pulses
        self._illegal_ms += step_ms
        self._illegal_seen = counted(inputs.illegal, self._illegal)
        if self._illegal_ms >= _SECOND_MS:
            self._illegal_ms = 0
            self._illegal = inputs.illegal

    def impossible(self, by_hand: bool) -> bool:
        """Whether this step's counts are none that the shaft can have made; by_hand: a hand may be turning it."""
        if self._illegal_seen > ILLEGAL_A_SECOND:
            self.value = self._illegal_seen
            self.limit = ILLEGAL_A_SECOND
            return True
        if self._channels == 1 and self._step < 0:
            # a single channel can only count up
            self.value = self._step
            self.limit = 0
            return True
        times = _HAND_TIMES if by_hand else _DRIVE_TIMES
        # hundredths of a pulse a second and milliseconds: a pulse is 100,000 of their products
        most = times * (self._rate * self._step_ms // 1000) // 100 + _UNEVEN_PULSES
        if abs(self._step) > most:
            self.value = self._step
            self.limit = most
            return True
        return False
