"""How fast a wind turns from layer to layer, and the time that this takes."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from reelwright.winding.drive import Ramp
    from reelwright.winding.pulses import PulseScale


@frozen
class Pace:
    """The ramp, and the cruise of each layer.

    ramp: None for a crank, which is turned at the cruise of each layer. layer_pulses: the end of each layer;
    layer_rpm: its cruise, of the spool. A powered drive comes to a layer at the speed of the one before.
    """

    ramp: Ramp | None
    scale: PulseScale
    layer_pulses: tuple[int, ...]
    layer_rpm: tuple[float, ...]

    def seconds(self, begin: int, end: int, start_rpm: float = 0.0) -> float:
        """Time from one count to a stop at another, both in pulses, starting at start_rpm."""
        turns = self.scale.turns(end - begin)
        if self.ramp is not None and len(set(self.layer_rpm)) == 1:
            return self.ramp.seconds(turns, start_rpm)
        layers = self._layers(begin, end)
        if self.ramp is not None:
            return self.ramp.seconds(turns, start_rpm, layers)
        seconds, before = 0.0, 0.0
        for until, rpm in layers:
            seconds += (until - before) * 60 / rpm
            before = until
        return seconds

    def _layers(self, begin: int, end: int) -> tuple[tuple[float, float], ...]:
        """Where each layer on the way ends, in turns from `begin`, and its cruise."""
        last = len(self.layer_pulses) - 1
        layer = min(bisect_right(self.layer_pulses, begin), last)
        found = []
        while layer < last and self.layer_pulses[layer] < end:
            found.append((self.scale.turns(self.layer_pulses[layer] - begin), self.layer_rpm[layer]))
            layer += 1
        return (*found, (self.scale.turns(end - begin), self.layer_rpm[layer]))
