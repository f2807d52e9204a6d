"""How fast the spool turns, and the loop that keeps it at a rate."""

from windcore.ticks import ticks_diff

_WINDOW_MS = 60
_LONGEST_MS = 100000
_FARTHEST = 1 << 19  # grains in a window; beyond the fastest spool by far, and safe to multiply by 1000


class Speedometer:
    """Rate from counts read once a step, in grains a second.

    It measures from one step in which the count changed to a later one, at least a window apart, so that a
    pulse every few seconds and a hundred a step both read true. When pulses stay away, the rate falls as
    the time since the last one shows it must have. `proven` is the rate that the counts leave no doubt of:
    one pulse in the window may have been there at its start already.
    """

    def __init__(self) -> None:
        self._grain = 1
        self.reset(0, 0)

    def prepare(self, grain: int) -> None:
        """Take the grain of a job."""
        self._grain = grain

    def reset(self, count: int, now_ms: int) -> None:
        """Start from rest at this count."""
        self.rate = 0
        self.proven = 0
        self._anchor = count
        self._anchor_ms = now_ms
        self._last = count
        self._last_ms = now_ms
        self.quiet_ms = 0

    def update(self, count: int, now_ms: int) -> int:
        """Take the count of this step; the rate, signed."""
        if count != self._last:
            self._last = count
            self._last_ms = now_ms
            self.quiet_ms = 0
            span_ms = ticks_diff(now_ms, self._anchor_ms)
            if span_ms >= _WINDOW_MS:
                moved = max(-_FARTHEST, min(_FARTHEST, (count - self._anchor) * self._grain))
                self.rate = moved * 1000 // span_ms
                self.proven = max(0, moved - self._grain) * 1000 // span_ms
                self._anchor = count
                self._anchor_ms = now_ms
            return self.rate
        self.quiet_ms = min(_LONGEST_MS, ticks_diff(now_ms, self._last_ms))
        if self.quiet_ms >= _WINDOW_MS:
            bound = self._grain * 1000 // self.quiet_ms
            if self.rate > bound:
                self.rate = bound
            elif self.rate < -bound:
                self.rate = -bound
        return self.rate


class SpeedLoop:
    """Duty for a rate: feed-forward from the full rate, a proportional and an integral part.

    Gains are in thousandths of full duty for an error of the whole full rate. They are low, since the
    measured rate lags by a window; the integral finds the load within about half a second. Common practice
    for geared brushed motors, tried on the simulated winder from 1 to 600 pulses a turn.
    """

    PROPORTIONAL = 400
    INTEGRAL_MS = 400

    def __init__(self) -> None:
        self.prepare(1)

    def prepare(self, full_rate: int) -> None:
        """Take the full rate in grains a second, at most 2^15 or so."""
        self._full = max(1, full_rate)
        self._most = self._full * self.INTEGRAL_MS
        self.reset()

    def reset(self) -> None:
        """Forget the load."""
        self._sum = 0

    def advance(self, wanted: int, measured: int, step_ms: int) -> int:
        """Duty in thousandths for the next step, 0 to 1000."""
        error = wanted - measured
        forward = wanted * 1000 // self._full
        proportional = error * self.PROPORTIONAL // self._full
        duty = forward + proportional + self._sum // (self._most // 1000 + 1)
        # the sum stands still while the duty is at its end and the error would push it further
        if not (duty >= 1000 and error > 0) and not (duty <= 0 and error < 0):
            self._sum = max(-self._most, min(self._most, self._sum + error * step_ms))
        return max(0, min(1000, duty))
