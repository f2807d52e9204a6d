"""Numbers that look random and repeat from a seed, the same on every interpreter."""

_MODULUS = 2147483647
_MULTIPLIER = 48271


class Chance:
    """The multiplicative generator of Park and Miller with the multiplier 48271 (Communications of the ACM, 1993).

    Every product stays below 2^47: a small integer on a desktop, and exact anywhere.
    """

    def __init__(self, seed: int) -> None:
        self.state = seed % (_MODULUS - 1) + 1

    def share(self) -> float:
        """Evenly spread above 0 and below 1."""
        self.state = self.state * _MULTIPLIER % _MODULUS
        return self.state / _MODULUS

    def below(self, limit: int) -> int:
        """A whole number from 0 to limit - 1; limit at most a million, where the unevenness is nil."""
        return int(self.share() * limit)

    def spread(self) -> float:
        """Evenly spread between -1 and 1."""
        return 2.0 * self.share() - 1.0
