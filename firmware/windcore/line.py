"""The spool's cruise in each layer, so that the strand runs at one speed while the spool grows."""

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.job import Job

# A hand is told to slow down above nine eighths of the wanted speed, until it is below it: eyes and arms waver by a
# tenth. Our choice, with no source.
_HAND_TIMES_8 = 9


class LineSpeed:
    """The job's cruise, lowered as the turns of a layer become longer than those at which it draws the wanted speed.

    A turn of layer k is line_first + (k - 1) line_rise long, and the job's cruise draws the wanted speed at turns of
    line_turn; all three are in one unit that the host chose. The cruise is below 2^15 grains a second and
    line_turn below 2^15, so that their product stays below 2^30.
    """

    def __init__(self) -> None:
        self._job_cruise = 1
        self._turn = 0
        self._first = 0
        self._rise = 0
        self._hasty = False
        self.begin()

    def prepare(self, job: "Job", cruise: int) -> None:
        """Take a job, and its cruise in grains a second."""
        self._job_cruise = cruise
        self._turn = job.line_turn
        self._first = job.line_first
        self._rise = job.line_rise
        self.begin()

    def begin(self) -> None:
        """Start a motion."""
        self._hasty = False

    def cruise(self, layer: int) -> int:
        """Grains a second in this layer, from 1."""
        if not self._turn:
            return self._job_cruise
        turn = self._first + self._rise * (layer - 1)
        return self._job_cruise if turn <= self._turn else self._job_cruise * self._turn // turn

    def too_fast(self, rate: int, layer: int) -> bool:
        """Whether a hand at this rate, in grains a second, draws the strand too fast; never without a wish."""
        if not self._turn:
            return False
        cruise = self.cruise(layer)
        self._hasty = rate * 8 > cruise * (8 if self._hasty else _HAND_TIMES_8)
        return self._hasty
