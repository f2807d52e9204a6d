"""How fast the spool turns, and the loop that keeps it at a rate."""

from windcore.ticks import LOOP_MS, ticks_before, ticks_diff

_WINDOW_MS = 60
LONGEST_QUIET_MS = 100000
# A rate is proven over 0.2 s where that holds five pulses, so that one badly spaced slot weighs little;
# else over 0.5 s.
PROOF_MS = 200
PROOF_PULSES = 5
LONG_PROOF_MS = 500
_FARTHEST = 1 << 19  # grains in a window; beyond the fastest spool by far, and safe to multiply by 1000
_FASTEST = 1 << 23  # grains a second; beyond the fastest spool by far, and safe to multiply by 100


class Speedometer:
    """Rate from counts read once a step, in grains a second.

    It measures from one step in which the count changed to a later one, at least a window apart, so that a
    pulse every few seconds and a hundred a step both read true. When pulses stay away, the rate falls as
    the time since the last one shows it must have.

    `proven` is the rate that the counts leave no doubt of. It is measured over a longer window, from pulse to
    pulse, and a pulse may be a step older than it was read.
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
        self.quiet_ms = 0
        self._anchor = count
        self._anchor_ms = now_ms
        self._last = count
        self._last_ms = now_ms
        self._proof_begun = False
        self._proof = count
        self._proof_ms = now_ms

    def update(self, count: int, now_ms: int) -> int:
        """Take the count of this step; the rate, signed."""
        if count != self._last:
            sudden = self._moved(count, self._last) * 1000 // (ticks_diff(now_ms, self._last_ms) + LOOP_MS)
            self._last = count
            self._last_ms = now_ms
            self.quiet_ms = 0
            self._prove(count, now_ms)
            span_ms = ticks_diff(now_ms, self._anchor_ms)
            if span_ms >= _WINDOW_MS:
                self.rate = self._moved(count, self._anchor) * 1000 // span_ms
                self._anchor = count
                self._anchor_ms = now_ms
            # a spool that breaks loose from its friction is seen from one pulse to the next, not at the window's end
            self.rate = max(self.rate, min(_FASTEST, sudden))
            return self.rate
        self.quiet_ms = ticks_diff(now_ms, self._last_ms)
        if self.quiet_ms > LONGEST_QUIET_MS:
            # half a wrap of rest would read as the future
            self.quiet_ms = LONGEST_QUIET_MS
            self._last_ms = self._anchor_ms = self._proof_ms = ticks_before(now_ms, LONGEST_QUIET_MS)
            self._proof_begun = False
        if self.quiet_ms >= _WINDOW_MS:
            bound = self._grain * 1000 // self.quiet_ms
            if self.rate > bound:
                self.rate = bound
            elif self.rate < -bound:
                self.rate = -bound
        return self.rate

    def _prove(self, count: int, now_ms: int) -> None:
        span_ms = ticks_diff(now_ms, self._proof_ms)
        if self._proof_begun and span_ms < (PROOF_MS if abs(count - self._proof) >= PROOF_PULSES else LONG_PROOF_MS):
            return
        if self._proof_begun:
            self.proven = self._moved(count, self._proof) * 1000 // (span_ms + LOOP_MS)
        # the spool may have stood anywhere between two pulses, so the first pulse proves nothing
        self._proof_begun = True
        self._proof = count
        self._proof_ms = now_ms

    def _moved(self, count: int, since: int) -> int:
        return max(-_FARTHEST, min(_FARTHEST, (count - since) * self._grain))


class SpeedLoop:
    """Duty for a rate: feed-forward from the full rate, a proportional and an integral part.

    Gains are in thousandths of full duty for an error of the whole full rate, at pulses so frequent that the measured
    rate is fresh; they fall with the pulse period, since a stale rate would make the loop hunt. The integral
    carries the load. It grows faster at low rates, where the error is a small part of the full rate and the
    breakaway torque is not, and it never falls while the wanted rate falls: there the spool is too fast because it
    lags, not because the load is less. Common practice for geared brushed motors, tried on the simulated
    winder from 1 to 600 pulses a turn, 30 to 300 rpm and time constants of 0.1 to 1 s.
    """

    PROPORTIONAL = 1200
    INTEGRAL_MS = 400
    FRESH_MS = 100  # pulse period at which the gains have fallen to one half
    HIGHEST_BOOST = 16
    STALLED_PER_S = 100  # least growth of the duty in a second while the spool stalls

    def __init__(self) -> None:
        self.prepare(1, 1)

    def prepare(self, full_rate: int, grain: int = 1) -> None:
        """Take the full rate in grains a second, at most 2^15, and how many grains a pulse has."""
        self._full = max(1, full_rate)
        self._grain = grain
        self.reset()

    def reset(self) -> None:
        """Forget the load."""
        self._load = 0  # thousandths of a thousandth of full duty
        self._wanted = 0

    def advance(self, wanted: int, measured: int, step_ms: int) -> int:
        """Duty in thousandths for the next step, 1 to 1000; 0 only when none is wanted.

        Never 0 on the way: a closed bridge lets the motor brake itself when it is too fast.
        """
        falling = wanted < self._wanted
        self._wanted = wanted
        if wanted <= 0:
            return 0
        full = self._full
        error = max(-full, min(full, wanted - measured))
        period_ms = min(10000, self._grain * 1000 // wanted)
        staleness = self.FRESH_MS + period_ms
        forward = wanted * 1000 // full
        proportional = error * self.PROPORTIONAL // full * self.FRESH_MS // staleness
        duty = forward + proportional + self._load // 1000
        if not (duty >= 1000 and error > 0) and not (error < 0 and (falling or duty <= 0)):
            boost = max(1, min(self.HIGHEST_BOOST, full // (8 * wanted)))
            change = error * 1000 // full * step_ms * 1000 // self.INTEGRAL_MS * self.FRESH_MS // staleness * boost
            if 2 * measured < wanted:
                # two periods without a pulse: it stalls, and the rate is not stale but nil
                change = max(change, self.STALLED_PER_S * step_ms)
            self._load = max(0, min(1000000, self._load + change))
        if 2 * measured > 3 * wanted and period_ms < 3 * self.FRESH_MS:
            return 1
        return max(1, min(1000, duty))
