"""A link that spoils bytes."""

from plant.chance import Chance

_INTERRUPT = 3

# A fifth of the bytes: good stretches of 200 bytes and bad ones of 50 on average, as interference comes and goes.
# (A fifth spread evenly would leave no frame of forty bytes whole in ten thousand.)
_TURNS_BAD = 1.0 / 200.0
_TURNS_GOOD = 1.0 / 50.0


class Noise:
    """Flips one bit of each byte of a bad stretch, or loses the byte.

    It never makes the byte that interrupts the interpreter: that would be a key that somebody pressed.
    """

    def __init__(self, chance: Chance) -> None:
        self._chance = chance
        self._bad = False

    def spoil(self, data: "bytes | bytearray | memoryview") -> bytes:
        """What is left of the data."""
        chance = self._chance
        left = bytearray()
        for byte in data:
            if chance.share() < (_TURNS_GOOD if self._bad else _TURNS_BAD):
                self._bad = not self._bad
            if not self._bad:
                left.append(byte)
            elif chance.share() < 0.5:
                flipped = byte ^ (1 << chance.below(8))
                left.append(byte if flipped == _INTERRUPT else flipped)
        return bytes(left)
