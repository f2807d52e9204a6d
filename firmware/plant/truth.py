"""How far the spool truly went past the stops that it should keep to."""

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Callable


class Overshoot:
    """Follows true pulses against the planned stops; peak_pulses is the largest excess so far, of all winds.

    stops: of every wind, ascending, the target last. kept: asked as a motion begins, says which wind that is of and
    the control's count there, or None where there is none; a host numbers its winds so that no two are the same. The
    stop in force is the first one that the control has not reached yet. It is its count that the control goes by, and
    the truth that judges it: a wind's true pulses count from where its first motion began, whatever a restart leaves
    uncounted, and whatever count is agreed to after it.
    """

    def __init__(self, stops: "list[int]", kept: "Callable[[], tuple[int, int] | None]") -> None:
        self._stops = stops
        self._kept = kept
        self._wind: "int | None" = None
        self._origin = 0  # true pulses where the count was zero
        self._ahead = 0  # of the counter, the control's count
        self._reached = 0  # the highest count of the control
        self._passed = 0
        self._counted = 0
        self._running = False
        self.peak_pulses = 0
        self.stop = stops[0]

    def restarted(self) -> None:
        """The control begins anew, and knows no more of what it has reached than the count that it is given."""
        self._reached = 0

    def step(self, passed: int, counted: int, running: bool) -> None:
        """Take the true pulses, the counter's, and whether the control is after motion (drive, brake or lamp on)."""
        if running and not self._running:
            self._begin()
        self._running = running
        self._passed = passed
        self._counted = counted
        if self._wind is None:
            return
        if running:
            self._reached = max(self._reached, counted + self._ahead)
        self.peak_pulses = max(self.peak_pulses, passed - self._origin - self.stop)

    def _begin(self) -> None:
        """A motion begins, from where the last step ended."""
        kept = self._kept()
        if kept is None:
            return
        wind, count = kept
        if wind != self._wind:
            self._wind = wind
            self._origin = self._passed - count
            self._reached = 0
        self._ahead = count - self._counted
        # what a spool is drawn back by once it is let go does not take from it what it has reached
        self._reached = max(self._reached, count)
        ahead = [stop for stop in self._stops if stop > self._reached]
        self.stop = ahead[0] if ahead else self._stops[-1]
