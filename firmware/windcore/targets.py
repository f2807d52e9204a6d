"""Where to stop: the planned stops of a job in order, then its target."""

from array import array

from windlink.catalogue import MOST_JOB_VALUES

END = 0  # kind of the last stop: the target itself


class Targets:
    """The planned stops. `pulses` and `kind` are the next one; kind is END at the target."""

    def __init__(self) -> None:
        self._pulses = array("i", [0] * (MOST_JOB_VALUES // 2))
        self._kinds = bytearray(MOST_JOB_VALUES // 2)
        self._count = 0
        self._next = 0
        self.target = 0
        self.pulses = 0
        self.kind = END

    def begin(self, target: int, stops: "list[int]") -> None:
        """Take a job's target and its stops as a flat list of pulses and kind, ascending, all below target."""
        self.target = target
        self._count = len(stops) // 2
        for index in range(self._count):
            self._pulses[index] = stops[2 * index]
            self._kinds[index] = stops[2 * index + 1]
        self._next = 0
        self._point()

    def pass_to(self, count: int) -> None:
        """Leave behind every planned stop at or below the count."""
        while self._next < self._count and self._pulses[self._next] <= count:
            self._next += 1
        self._point()

    def _point(self) -> None:
        if self._next < self._count:
            self.pulses = self._pulses[self._next]
            self.kind = self._kinds[self._next]
        else:
            self.pulses = self.target
            self.kind = END
