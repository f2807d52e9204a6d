"""How long the drive's brake needs, learned from the spool itself.

A motor that is short-circuited slows its spool by a share of the speed in each second: evenly in the logarithm, and
ever more weakly towards rest. The same lag, inertia over the motor's stiffness, rules how the spool gains
speed: full duty less the duty of the present speed is what accelerates it. So the way up tells the way down,
before the first stop. Textbooks of brushed motors: the mechanical time constant, J R / k^2.
"""

LONGEST_LAG_MS = 32767  # times a rate of the ramp it stays below 2^30
_MOST_PUSH = 1 << 29
_LEAST_RATE = 64  # grains a second; below, a rate says little

# Eighths of the lag that are planned with: loads and friction are in the measured one already, which makes it too
# long; a bridge that brakes worse than it drives would make it too short. More after each stop that was run over.
# Tried on random heavy spools of the simulated winder, see tests/simulated/test_heavy_spools.py.
_MARGIN = 10
_MORE = 4
_MOST = 64


class Brake:
    """The lag to plan a fall of the rate with, `lag_ms`; 0 until something is known.

    It is taken anew on each way up, since a spool that fills grows heavier.
    """

    def __init__(self) -> None:
        self.prepare(1, 1)

    def prepare(self, full_rate: int, least_rate: int) -> None:
        """Take a job's full rate, at most 2^15, and the rate below which nothing is judged, in grains a second."""
        self._full = full_rate
        self._least = max(_LEAST_RATE, least_rate)
        self._margin = _MARGIN
        self.lag_ms = 0
        self.begin()

    def begin(self) -> None:
        """Start from rest."""
        self._push = 0  # grains: how far the duty was ahead of the rate
        self._fastest = 0

    def rising(self, duty: int, rate: int, step_ms: int) -> None:
        """Take the duty of the last step, in thousandths, and the rate that it led to, on the way up."""
        self._push += (self._full * duty // 1000 - rate) * step_ms
        self._push = max(0, min(_MOST_PUSH, self._push))
        if rate > self._fastest and rate >= self._least:
            self._fastest = rate
            self.lag_ms = min(LONGEST_LAG_MS, self._push // rate * self._margin // 8)

    def ran_over(self, needed_ms: int) -> None:
        """The last stop was run over: brake earlier, by a lag that lasts needed_ms at least."""
        before = self._margin
        self._margin = min(_MOST, before + _MORE)
        self.lag_ms = min(LONGEST_LAG_MS, max(needed_ms, self.lag_ms * self._margin // before))
