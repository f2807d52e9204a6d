"""The trapezoid: how fast to turn, given how far it is to the next stop.

Rates are in grains a second, a grain being the 1/`grain` part of a pulse. The grain is chosen so that the
fastest rate stays below 2^15 and its square below 2^30.
"""

_FASTEST = 32767
_FINEST = 1024
_HARDEST = 10000000  # acceleration times the longest step stays below 2^30


def grain_for(full_rate: int) -> int:
    """How many grains a pulse has, for a full rate in hundredths of a pulse per second."""
    grain = 1
    while grain < _FINEST and full_rate * grain * 2 // 100 <= _FASTEST:
        grain *= 2
    return grain


class Ramp:
    """Rises to the cruise rate, and falls so as to reach the creep rate `creep_pulses` before the stop.

    fastest: the job's cruise rate in grains a second; cruise: the present one, which `cruise_at` may lower on the way.
    """

    def __init__(self) -> None:
        self.prepare(100, 100, 100, 100, 0, 1)

    def prepare(self, cruise: int, creep: int, rise: int, fall: int, creep_pulses: int, grain: int) -> None:
        """Take a job's rates in hundredths of a pulse per second, and their rise and fall in a second."""
        self._grain = grain
        self.fastest = max(1, min(_FASTEST, cruise * grain // 100))
        self.cruise = self.fastest
        self._creep = max(1, min(self.cruise, creep * grain // 100))
        self._rise = max(1, min(_HARDEST, rise * grain // 100))
        self._fall = max(1, min(_HARDEST, fall * grain // 100))
        self._creep_pulses = creep_pulses
        self._farthest = (1 << 29) // grain
        self.brakes_in(0)
        self.reset()

    def brakes_in(self, lag_ms: int) -> None:
        """Take the lag of the brake, at most 2^15 ms: below the knee the rate falls by its own share, not evenly."""
        self._lag_ms = lag_ms
        self._knee = self._fall * min(lag_ms, _FASTEST * 1000 // self._fall) // 1000
        # a lag that ends below the creep rate is none
        self._creep_way = lag_ms * (self._knee - self._creep) // 1000 if self._knee > self._creep else 0

    @property
    def lag_at_creep_ms(self) -> int:
        """The lag of a brake that can just keep the even fall at twice the creep rate."""
        return min(_FASTEST, 2000 * self._creep // self._fall)

    def reset(self) -> None:
        """Start from rest."""
        self.rate = 0
        self.slowing = False

    def cruise_at(self, rate: int) -> None:
        """Take another cruise, in grains a second; the ramp rises or falls to it as to any other."""
        self.cruise = max(self._creep, min(self.fastest, rate))

    def advance(self, remaining: int, measured: int, step_ms: int) -> int:
        """The rate for the next step of step_ms (at most 100), with `remaining` pulses to the stop.

        measured: the present rate. A spool that lags behind its ramp needs its way from there.
        """
        if remaining <= 0:
            self.rate = 0
            self.slowing = True
            return 0
        to_creep = (min(remaining, self._farthest) - self._creep_pulses) * self._grain
        rising = max(1, self._rise * step_ms // 1000)
        falling = max(1, self._fall * step_ms // 1000)
        if self._needed(max(self.rate, measured)) >= to_creep:
            self.slowing = True
            self._fall_towards(to_creep, rising, falling)
        elif self._needed(self.rate) + self.rate * step_ms // 500 < to_creep:
            # two steps of room, so that the rate does not flutter about the edge of the trapezoid
            self.slowing = False
            if self.rate > self.cruise:
                self.rate = max(self.cruise, self.rate - falling)
            else:
                self.rate = min(self.cruise, self.rate + rising)
        return self.rate

    def stopping_pulses(self, rate: int) -> int:
        """Pulses from a rate in grains a second to rest, approach included."""
        rate = max(self._creep, min(_FASTEST, abs(rate)))
        to_rest = self._needed(rate) - (-self._creep * self._creep // (2 * self._fall))
        return to_rest // self._grain + self._creep_pulses + 1

    def _needed(self, rate: int) -> int:
        """Grains from a rate to the creep rate: evenly down to the knee, below it as the brake can."""
        rate = min(_FASTEST, rate)
        knee = self._knee
        if knee <= self._creep:
            return (rate * rate - self._creep * self._creep) // (2 * self._fall)
        if rate <= knee:
            return self._lag_ms * (rate - self._creep) // 1000
        return (rate * rate - knee * knee) // (2 * self._fall) + self._creep_way

    def _fall_towards(self, to_creep: int, rising: int, falling: int) -> None:
        if self.rate < self._creep:
            # so near the stop that it never leaves its approach
            self.rate = min(self._creep, self.rate + rising)
            return
        # a spool that lags is closer to the stop than its ramp: catch up, at most at four times the rate of fall
        for _ in range(4):
            self.rate = max(self._creep, self.rate - falling)
            if self._needed(self.rate) < to_creep:
                return
