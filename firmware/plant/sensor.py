"""The sensor and its hardware counter."""

import math

from plant.chance import Chance

_SLOTS = 64  # irregularities kept; a disc with more slots repeats them
_HYSTERESIS = 0.25  # of a slot: what two channels must turn back before the count falls


class SlotSensor:
    """Slots on a shaft, seen by one channel or by two, and the counter behind it.

    `counted` is what the counter says, `count` that less interference, and `passed` what truly passed: the signed
    number of slot edges between start and now. One channel counts every rising edge as forward, whichever way the shaft
    turns. Two count with their sign.

    slots_per_turn: of the spool, also broken ones. unevenness: largest shift of an edge, in slots, below 0.2.
    bounce_us: how long an edge chatters; what is shorter than the counter's debounce_us is never counted, what
    is longer is counted once more in one edge of eight (our guess). missed: share of the edges that are not seen; may
    be set anew. swapped: the two channels are exchanged; set only while nothing is counted yet.
    `illegal` is the number of transitions, seen by two channels, that no shaft can make: only `disturb` makes any.
    """

    def __init__(
        self,
        slots_per_turn: float,
        channels: int,
        chance: Chance,
        unevenness: float = 0.05,
        bounce_us: int = 300,
        debounce_us: int = 500,
        missed: float = 0.0,
    ) -> None:
        self.count = 0
        self.passed = 0
        self.illegal = 0
        self.dead = False
        self.swapped = False
        self._stray = 0  # counted, and made by no shaft
        self._slots = slots_per_turn
        self._two = channels == 2
        self._chance = chance
        self._shift = [unevenness * chance.spread() for _ in range(_SLOTS)]
        self._phase = chance.share() * 0.998 + 0.001
        self._bounces = bounce_us > debounce_us
        self.missed = missed
        self._half = self._half_slots(self._phase)
        self._zero = self._half // 2

    def turn_to(self, turns: float) -> None:
        """Take the signed turns of the spool since the start."""
        at = turns * self._slots + self._phase
        half = self._half_slots(at)
        before = self._half
        if half != before:
            self._half = half
            self.passed = half // 2 - self._zero
            if not self.dead:
                self._see(before, half)
        if self._two and not self.dead and not self.missed and not self._bounces:
            # the true place, held against small turning back
            if self.passed > self.count or at < self._zero + self.count - _HYSTERESIS:
                self.count = self.passed

    def disturb(self) -> None:
        """A burst of interference on the wire: dozens of edges for one channel, mostly nonsense for two."""
        if self._two:
            self.illegal += 1 + self._chance.below(8)
            self._stray += self._chance.below(3) - 1
        else:
            self._stray += 20 + self._chance.below(60)

    @property
    def counted(self) -> int:
        """What the counter says."""
        count = -self.count if self.swapped and self._two else self.count
        return count + self._stray

    def _half_slots(self, at: float) -> int:
        """Which half slot the disc stands at: even ones light the channel, so 2 k is entered at edge k."""
        slot = math.floor(at)
        rest = at - slot
        shift = self._shift[slot % _SLOTS]
        if rest < shift:
            return 2 * slot - 1
        following = self._shift[(slot + 1) % _SLOTS]
        if rest >= 1.0 + following:
            return 2 * slot + 2
        return 2 * slot + (1 if rest >= 0.5 else 0)

    def _see(self, before: int, half: int) -> None:
        if self._two:
            edges = half // 2 - before // 2
            sign = 1
            if not (self.missed or self._bounces):
                return
            if edges < 0:
                edges = -edges
                sign = -1
        elif half > before:
            edges = half // 2 - before // 2
            sign = 1
        else:
            # even halves entered from above: the same slots light up on the way back
            edges = (before + 1) // 2 - (half + 1) // 2
            sign = 1
        if self.missed and edges:
            edges -= self._part(edges, self.missed)
        if self._bounces and edges:
            edges += self._part(edges, 0.125)
        self.count += sign * edges

    def _part(self, edges: int, share: float) -> int:
        """About that share of the edges, by chance."""
        return int(edges * share + self._chance.share())
