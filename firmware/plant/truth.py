"""How far the spool truly went past the stops that it should keep to."""


class Overshoot:
    """Follows true pulses against the planned stops; peak_pulses is the largest excess so far.

    stops: ascending, the target last. The stop in force is the first one above the counter's count as a motion
    begins: it is the counter that the control goes by, and the truth that judges it.
    """

    def __init__(self, stops: "list[int]") -> None:
        self._stops = stops
        self._at = 0
        self._running = False
        self.peak_pulses = 0
        self.stop = stops[0] if stops else 0

    def step(self, passed: int, counted: int, running: bool) -> None:
        """Take the true pulses, the counter's, and whether the control is after motion (drive, brake or lamp on)."""
        if running and not self._running:
            while self._at + 1 < len(self._stops) and self._stops[self._at] <= counted:
                self._at += 1
            self.stop = self._stops[self._at] if self._stops else 0
        self._running = running
        if passed - self.stop > self.peak_pulses and self._stops:
            self.peak_pulses = passed - self.stop
