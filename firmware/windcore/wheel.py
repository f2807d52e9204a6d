"""The measuring wheel on the strand, held against the turns of the shaft."""

from windcore.signals import counted
from windlink.codes import BAD_SENSOR, SLIP

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.job import Job

_PARTS = 16  # of a wheel pulse, the unit of what is expected


class WheelCheck:
    """Compares wheel and shaft over windows of shaft pulses, and all the time within one.

    So many pulses of the shaft make so much strand, which the job tells for the first layer and as growth a layer. Too
    little strand is slip: the whole deviation that a window allows shows early in it when the strand stands, and at its
    end when it creeps. Too much strand, and the shaft has turned more than its sensor says.

    All products stay below 2^30: `windlink.job.first_fault` bounds window times strand.
    """

    def __init__(self) -> None:
        self.seen = 0  # wheel pulses of this window, when a reason is found
        self.expected = 0
        self._window = 0
        self._first = 0
        self._rise = 0
        self._permille = 0
        self._slack = 0
        self.begin(0, 0)

    def prepare(self, job: "Job") -> None:
        """Take a job; without a wheel in it nothing is ever found."""
        self._window = job.slip_window_pulses
        self._first = job.wheel_first
        self._rise = job.wheel_rise
        self._permille = job.slip_permille
        self._slack = job.slip_slack * _PARTS

    def begin(self, count: int, wheel_pulses: int) -> None:
        """Start a motion, or a window, here."""
        self._count = count
        self._wheel_pulses = wheel_pulses

    def look(self, count: int, wheel_pulses: int, layer: int) -> int:
        """SLIP, BAD_SENSOR or 0, for the counts of this step and the layer that they are in."""
        window = self._window
        if not window:
            return 0
        turned = count - self._count
        if turned > 2 * window or turned < -window:
            # more in one step than any window should hold: nothing to be said of it
            self.begin(count, wheel_pulses)
            return 0
        strand = self._first + self._rise * (layer - 1)
        expected = strand * turned // window
        seen = counted(wheel_pulses, self._wheel_pulses) * _PARTS
        allowed = strand // 1000 * self._permille + strand % 1000 * self._permille // 1000 + self._slack
        if abs(seen - expected) > allowed:
            self.seen = seen // _PARTS
            self.expected = expected // _PARTS
            return SLIP if seen < expected else BAD_SENSOR
        if turned >= window:
            self.begin(count, wheel_pulses)
        return 0
