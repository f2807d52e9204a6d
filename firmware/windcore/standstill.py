"""When a spool is at rest, and not only between two pulses of its sensor."""

from windcore.signals import counted
from windcore.speed import LONGEST_QUIET_MS

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.job import Job

# Where no job says how fast the spool slows down.
_QUIET_MS = 3000
_COASTED_MS = 10000


class Standstill:
    """Watches the raw count, with or without a job, while the drive is off.

    A board that was just switched on takes its spool to be at rest.
    """

    def __init__(self) -> None:
        self._pulses = -1  # before the first reading, which a counter may begin anywhere
        self._quiet_ms = LONGEST_QUIET_MS
        self._needed_ms = _QUIET_MS
        self._coasted_ms = _COASTED_MS

    def prepare(self, job: "Job") -> None:
        """Take a job: a spool that slows down evenly and gives no further pulse rests within sqrt(2 / deceleration)."""
        self._needed_ms = max(job.standstill_ms, int((200000000 / job.deceleration) ** 0.5))
        seconds = min(100, 3 * job.highest_rate // job.deceleration + 1)
        alone_ms = int((600000000 / job.deceleration) ** 0.5)
        self._coasted_ms = max(job.standstill_ms, alone_ms, min(LONGEST_QUIET_MS, 1000 * seconds))

    def doubt(self) -> None:
        """The spool may be turning, whatever was counted so far: it is driven, or was before a restart."""
        self._quiet_ms = 0

    def update(self, pulses: int, step_ms: int) -> int:
        """Take the raw count of this step; how far the spool has turned since the last one."""
        turned = counted(pulses, self._pulses) if self._pulses >= 0 else 0
        self._pulses = pulses
        self._quiet_ms = 0 if turned else min(LONGEST_QUIET_MS, self._quiet_ms + step_ms)
        return turned

    @property
    def quiet_ms(self) -> int:
        """How long no pulse came, at most LONGEST_QUIET_MS."""
        return self._quiet_ms

    @property
    def proven(self) -> bool:
        """Whether no pulse came for so long that the spool must be at rest."""
        return self._quiet_ms >= self._needed_ms

    @property
    def certain(self) -> bool:
        """Whether it must be at rest with nothing to brake it, and even with a dead sensor: time for a whole coast.

        A spool that is let go slows down at a third of the job's rate or more; the host counts on the same.
        """
        return self._quiet_ms >= self._coasted_ms
