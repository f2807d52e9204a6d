"""A person at the machine: at its crank, or at the spool while it rests."""

from plant.chance import Chance

# What the lamp can tell, as the firmware numbers it, and the share of the person's own speed that they answer it with.
_OFF, _WIND, _SLOWER, _NEARLY, _STOP = range(5)
_SHARES = (0.0, 1.0, 0.45, 0.15, 0.0)

# Common values of hand and eye, our guess: a simple reaction takes 0.2 to 0.3 s, an arm settles in about 0.15 s.
_REACTION_MS = 250
_SETTLE_MS = 150


class Hand:
    """Turns the crank at about a speed, sees the lamp late, slows down, overshoots honestly.

    The speed wanders by up to a tenth, as a person's does. The crank never turns back.
    """

    def __init__(self, rpm: float, chance: Chance, step_ms: int) -> None:
        self.speed_rps = 0.0
        self._own_rps = rpm / 60.0
        self._chance = chance
        self._step_s = step_ms / 1000
        self._settle = step_ms / (_SETTLE_MS + step_ms)
        self._seen = [_OFF] * max(1, _REACTION_MS // step_ms)
        self._at = 0
        self._wander = 0.0

    def step(self, lamp: int) -> float:
        """One step under this lamp. Turns of the crank."""
        seen = self._seen
        at = self._at
        told = seen[at]
        seen[at] = lamp
        self._at = at + 1 if at + 1 < len(seen) else 0
        wanted = self._own_rps * _SHARES[told]
        before = self.speed_rps
        if wanted == 0.0:
            if before == 0.0:
                return 0.0
            # to rest at an even rate: from full speed in twice the settling time
            after = before - self._own_rps * self._step_s * (500.0 / _SETTLE_MS)
            if after < 0.0:
                after = 0.0
        else:
            self._wander = 0.98 * self._wander + 0.02 * self._chance.spread()
            after = before + (wanted * (1.0 + self._wander) - before) * self._settle
        self.speed_rps = after
        return 0.5 * (before + after) * self._step_s


# One turn from a mark back to that mark, by common experience: two seconds, and wrong by a few degrees; then a rest.
_TURN_MS = 2000
_MARK_TURNS = 0.01
_PAUSE_MS = 7000


class SpoolTurner:
    """Turns the spool forward by one turn whenever it has stood for seven seconds, again and again.

    The place of the mark is kept: the error of one turn does not add to that of the next.
    """

    def __init__(self, chance: Chance, step_ms: int) -> None:
        self._chance = chance
        self._step_ms = step_ms
        self._stood_ms = 0
        self._error = 0.0
        self._left = 0.0

    def step(self, turned: float) -> float:
        """One step in which the machine itself turned the spool so far. Turns that the hand adds."""
        if self._left > 0.0:
            share = min(self._left, self._step_ms / _TURN_MS)
            self._left -= share
            return share
        self._stood_ms = 0 if turned else self._stood_ms + self._step_ms
        if self._stood_ms < _PAUSE_MS:
            return 0.0
        self._stood_ms = 0
        error = _MARK_TURNS * self._chance.spread()
        self._left = 1.0 + error - self._error
        self._error = error
        return 0.0
