"""The steps that a stepper was given, held against what its shaft has turned."""

from windlink.codes import STEPPER

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.job import Job

_WINDOW_TIMES = 16  # allowed lags in a window: a loss of more than a sixteenth is seen, rounding of the steps is not
FRESH_MS = 30  # steps given so lately that the count cannot hold them yet: three periods of the control
_MOST_GRAINS = 1 << 28


class StepCheck:
    """Compares steps and pulses over windows of pulses. A lag is judged as a pulse comes: one that stands is silent.

    lag: by how many pulses the shaft is behind, when a reason is found.
    """

    def __init__(self) -> None:
        self.lag = 0
        self._allowed = 0
        self._window = 0
        self._grain = 1
        self.begin(0)

    def prepare(self, job: "Job", grain: int) -> None:
        """Take a job, and how many grains a pulse has; nothing is ever found with another drive."""
        self._allowed = job.lag_pulses if job.drive == STEPPER else 0
        self._grain = grain
        self._window = min(_WINDOW_TIMES * self._allowed, _MOST_GRAINS // grain)

    def begin(self, count: int) -> None:
        """Start a motion, or a window, here."""
        self._begun = count
        self._last = count
        self._made = 0  # grains that the steps should have turned
        self._rest = 0  # and thousandths of one

    def lost(self, count: int, rate: int, step_ms: int) -> bool:
        """Whether the shaft lags too far. rate: of the steps given in the last control step, grains a second."""
        if not self._allowed:
            return False
        self._rest += rate * step_ms
        self._made = min(_MOST_GRAINS, self._made + self._rest // 1000)
        self._rest %= 1000
        if count == self._last:
            return False
        self._last = count
        turned = count - self._begun
        if abs(turned) > 2 * self._window:
            self.begin(count)
            return False
        lag = self._made - turned * self._grain
        if lag > self._allowed * self._grain + rate * FRESH_MS // 1000:
            self.lag = lag // self._grain
            return True
        if turned >= self._window:
            self.begin(count)
        return False
