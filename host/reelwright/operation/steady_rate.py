"""The speed of a spool for people: a mean of what the winder tells, long enough for the pulses that it has.

The winder counts whole pulses in a short window: at 150 rpm and 20 pulses a turn it tells 128.6, 150 or 171.4. That is
right for its control, which has it as it is; a person takes it for a spool that hunts.
"""

from __future__ import annotations

import math
from collections import deque

from windlink import codes

# A winder measures from one pulse to another, 60 ms or more later, and looks every 10 ms. What it tells is off by a
# step of its clock where pulses are rare, and by a pulse where they are many: each as a standard deviation of
# 1/sqrt(6), of the difference of two roundings of 1/sqrt(12). Twice that is told, as every uncertainty is.
WINDOW_S = 0.06
LOOKS_EVERY_S = 0.01
OFF_STEPS = 2 / math.sqrt(6)
FINE_SHARE = 0.02  # of a speed: as finely as a mean need tell it; own choice
MOST_TOLD = 20  # some 3 s of the winder's: where pulses are rare, a mean of them is told rather than an old speed
_TURNS = (codes.WINDING, codes.EASING)


class SteadyRate:
    """Mean of the rates told last, in hundredths of a pulse a second, and how far off it may be."""

    def __init__(self) -> None:
        self._state = codes.EMPTY
        self._told: deque[int] = deque(maxlen=MOST_TOLD)

    def tell(self, state: int, rate: int) -> int:
        """Take what the winder told, and give the mean. Another state begins another mean; at rest there is none."""
        if state != self._state or state not in _TURNS or not rate:
            self._told.clear()
        self._state = state
        self._told.append(rate)
        while len(self._told) > 1 and self._share_of(list(self._told)[1:]) <= FINE_SHARE:
            self._told.popleft()
        return round(sum(self._told) / len(self._told))

    @property
    def is_whole(self) -> bool:
        """Whether the mean is over as much as it shall be."""
        return len(self._told) == MOST_TOLD or self.resolution <= FINE_SHARE

    @property
    def resolution(self) -> float:
        """Share of the mean by which it may be off, because pulses are whole; k = 2."""
        return self._share_of(list(self._told))

    @staticmethod
    def _share_of(told: list[int]) -> float:
        rate = abs(sum(told)) / 100 / max(1, len(told))
        if not rate:
            return 1.0
        window_s = max(WINDOW_S, 1 / rate)
        step = min(1 / (rate * window_s), LOOKS_EVERY_S / window_s)
        return OFF_STEPS * step / math.sqrt(len(told))
